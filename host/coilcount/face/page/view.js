// The window of time that the plot shows.

class View {
  static LEAST_S = 0.5; // the closest zoom: about the width of one pass

  constructor(start, end, changed) {
    this.limits = [start, Math.max(end, start + View.LEAST_S)];
    [this.t0, this.t1] = this.limits;
    this.changed = changed;
  }

  get span() {
    return this.t1 - this.t0;
  }

  /** Show from t0 to t1, moved into the recording if needed. */
  show(t0, t1) {
    const [start, end] = this.limits;
    const span = Math.min(Math.max(t1 - t0, View.LEAST_S), end - start);
    const first = Math.min(Math.max(t0 + (t1 - t0 - span) / 2, start), end - span);
    if (first === this.t0 && first + span === this.t1) return;
    this.t0 = first;
    this.t1 = first + span;
    this.changed();
  }

  pan(seconds) {
    const [start, end] = this.limits;
    const span = this.span;
    const first = Math.min(Math.max(this.t0 + seconds, start), end - span);
    this.show(first, first + span);
  }

  /** factor below 1 zooms in; the time `fixed` stays where it is on the screen. */
  zoom(factor, fixed = (this.t0 + this.t1) / 2) {
    const [start, end] = this.limits;
    const span = Math.min(Math.max(this.span * factor, View.LEAST_S), end - start);
    const first = fixed - ((fixed - this.t0) / this.span) * span;
    this.show(first, first + span);
  }

  all() {
    this.show(...this.limits);
  }

  /** Bring a time into the middle, with at most `widest` seconds around it. */
  jump(time, widest = 12) {
    const span = Math.min(this.span, widest);
    this.show(time - span / 2, time + span / 2);
  }
}
