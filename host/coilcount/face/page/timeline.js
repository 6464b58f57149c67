// The times of the readings, kept as runs of even spacing.

class Timeline {
  static BROKEN = 1.5; // spacings: a longer silence between two readings is a gap in the line

  /** runs: [time of the first reading, spacing, number of readings] each. */
  constructor(runs) {
    let first = 0;
    this.runs = runs.map(([start, spacing, count]) => {
      const run = { start, spacing, first, end: first + count, last: start + spacing * (count - 1) };
      first += count;
      return run;
    });
    this.count = first;
    this.start = this.runs.length ? this.runs[0].start : 0;
    this.end = this.runs.length ? this.runs[this.runs.length - 1].last : 0;
    /** Stretches of readings [first index, end index] that are drawn as one line. */
    this.stretches = [];
    /** Silences [start, end] in seconds, between stretches. */
    this.breaks = [];
    let before = null;
    for (const run of this.runs) {
      if (before && run.start - before.last <= Timeline.BROKEN * before.spacing) {
        this.stretches[this.stretches.length - 1][1] = run.end;
      } else {
        if (before) this.breaks.push([before.last, run.start]);
        this.stretches.push([run.first, run.end]);
      }
      before = run;
    }
  }

  /** The index of the first reading at or after a time; `count` if there is none. */
  indexAt(time) {
    let low = 0;
    let high = this.runs.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (this.runs[middle].last < time) low = middle + 1;
      else high = middle;
    }
    if (low === this.runs.length) return this.count;
    const run = this.runs[low];
    if (time <= run.start) return run.first;
    return Math.min(run.end - 1, run.first + Math.ceil((time - run.start) / run.spacing - 1e-6));
  }

  /** The time of a reading. */
  timeOf(index) {
    let low = 0;
    let high = this.runs.length - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (this.runs[middle].first <= index) low = middle;
      else high = middle - 1;
    }
    const run = this.runs[low];
    return run.start + (index - run.first) * run.spacing;
  }

  /** The index of the reading nearest to a time. */
  nearest(time) {
    const after = Math.min(this.indexAt(time), this.count - 1);
    if (after === 0) return 0;
    return time - this.timeOf(after - 1) < this.timeOf(after) - time ? after - 1 : after;
  }
}
