// Unpacks a recording; the form is described in face/page_data.py.

async function unpack(base64) {
  const text = atob(base64);
  const packed = new Uint8Array(text.length);
  for (let i = 0; i < text.length; i++) packed[i] = text.charCodeAt(i);
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
  const bytes = new Uint8Array(await new Response(stream).arrayBuffer());
  const headLength = new DataView(bytes.buffer).getUint32(0, true);
  const head = JSON.parse(new TextDecoder().decode(bytes.subarray(4, 4 + headLength)));
  const count = head.runs.reduce((sum, run) => sum + run[2], 0);
  const shiftStart = 4 + headLength;
  const statisticStart = shiftStart + count * head.shift.bytes;
  return {
    ...head,
    count,
    timeline: new Timeline(head.runs),
    shift: new Samples(bytes.subarray(shiftStart, statisticStart), count, head.shift),
    statistic: new Samples(bytes.subarray(statisticStart), count, head.statistic),
    startMs: Date.parse(head.startUtc),
  };
}

/** Values of one kind, with a pyramid of minima and maxima so that no spike is lost at any zoom. */
class Samples {
  static BLOCK = 16; // values of a block on the lowest level
  static FANOUT = 4; // blocks of a block one level higher

  /** planes: the bytes of the differences, the lowest byte of all values first. */
  constructor(planes, count, { step, bytes }) {
    const values = new Float64Array(count);
    const shift = 32 - 8 * bytes; // the sum wraps at the width of a value
    let sum = 0;
    for (let i = 0; i < count; i++) {
      let difference = 0;
      for (let plane = 0; plane < bytes; plane++) difference |= planes[plane * count + i] << (8 * plane);
      sum = ((sum + difference) << shift) >> shift;
      values[i] = sum * step;
    }
    this.values = values;
    this.levels = [];
    let lower = { low: values, high: values, size: 1 };
    for (let fanout = Samples.BLOCK; lower.low.length > 1; fanout = Samples.FANOUT) {
      const length = Math.ceil(lower.low.length / fanout);
      const low = new Float64Array(length).fill(Infinity);
      const high = new Float64Array(length).fill(-Infinity);
      for (let i = 0; i < lower.low.length; i++) {
        const block = Math.floor(i / fanout);
        if (lower.low[i] < low[block]) low[block] = lower.low[i];
        if (lower.high[i] > high[block]) high[block] = lower.high[i];
      }
      lower = { low, high, size: lower.size * fanout };
      this.levels.push(lower);
    }
  }

  /** [smallest, largest] of the values from index `first` up to, not including, `end`. */
  range(first, end) {
    let low = Infinity;
    let high = -Infinity;
    const take = (a, b) => {
      if (a < low) low = a;
      if (b > high) high = b;
    };
    let i = first;
    while (i < end) {
      let best = null;
      for (const level of this.levels) {
        if (i % level.size !== 0 || i + level.size > end) break;
        best = level;
      }
      if (best === null) {
        take(this.values[i], this.values[i]);
        i += 1;
      } else {
        take(best.low[i / best.size], best.high[i / best.size]);
        i += best.size;
      }
    }
    return [low, high];
  }
}
