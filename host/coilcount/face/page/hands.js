// Mouse, touch and keys on the plot.

const WHEEL_RATE = 0.0016; // natural log of the zoom for one pixel of the wheel
const KEY_ZOOM = 1.5;
const KEY_PAN = 0.2; // of the window

/** actions: pick(alert), edit(label), span(t0, t1), step(direction), labelPicked(), spanMode() and leaveSpanMode(). */
class Hands {
  static STILL = 5; // px: a press that moves less is a click

  constructor(plot, view, redraw, actions) {
    Object.assign(this, { plot, view, redraw, actions });
    this.pointers = new Map();
    this.start = null;
    const canvas = plot.canvas;
    canvas.onpointerdown = (event) => this.down(event);
    canvas.onpointermove = (event) => this.move(event);
    canvas.onpointerup = (event) => this.up(event);
    canvas.onpointercancel = (event) => this.cancel(event);
    canvas.onpointerleave = () => this.point(null);
    canvas.onkeydown = (event) => this.key(event);
    // Not passive: the wheel zooms and must not scroll the page as well.
    if (Hands.wheel) canvas.removeEventListener("wheel", Hands.wheel);
    Hands.wheel = (event) => this.wheel(event);
    canvas.addEventListener("wheel", Hands.wheel, { passive: false });
  }

  point(time) {
    this.plot.cursor = time;
    this.actions.point(time);
    this.redraw();
  }

  wheel(event) {
    event.preventDefault();
    const unit = event.deltaMode === 1 ? 32 : event.deltaMode === 2 ? 400 : 1;
    const [dx, dy] = event.shiftKey && event.deltaX === 0 ? [event.deltaY, 0] : [event.deltaX, event.deltaY];
    if (Math.abs(dx) > Math.abs(dy)) this.view.pan(((dx * unit) / this.plot.lanes.shift.width) * this.view.span);
    else this.view.zoom(Math.exp(dy * unit * WHEEL_RATE), this.plot.timeAt(event.offsetX));
  }

  down(event) {
    if (event.button !== 0) return;
    this.plot.canvas.setPointerCapture(event.pointerId);
    this.pointers.set(event.pointerId, event.offsetX);
    this.start = { x: event.offsetX, y: event.offsetY, time: this.plot.timeAt(event.offsetX), moved: this.pointers.size > 1 };
    this.start.span = this.pointers.size === 1 && (this.actions.spanMode() || event.shiftKey);
  }

  move(event) {
    if (!this.pointers.has(event.pointerId)) {
      this.point(this.plot.timeAt(event.offsetX));
      return;
    }
    const before = [...this.pointers.values()];
    this.pointers.set(event.pointerId, event.offsetX);
    const now = [...this.pointers.values()];
    if (Math.abs(event.offsetX - this.start.x) > Hands.STILL) this.start.moved = true;
    if (now.length === 2) this.pinch(before, now);
    else if (!this.start.moved) return;
    else if (this.start.span) {
      const ends = [this.start.time, this.plot.timeAt(event.offsetX)].sort((a, b) => a - b);
      this.plot.draft = ends;
      this.redraw();
    } else this.view.pan(this.start.time - this.plot.timeAt(event.offsetX));
  }

  /** Two fingers: the times under them stay under them. */
  pinch(before, now) {
    this.plot.draft = null;
    const [a, b] = before.map((x) => this.plot.timeAt(x));
    if (Math.abs(now[1] - now[0]) < 10) return;
    const perPixel = (b - a) / (now[1] - now[0]);
    const { left, width } = this.plot.lanes.shift;
    const t0 = a - (now[0] - left) * perPixel;
    this.view.show(t0, t0 + width * perPixel);
  }

  up(event) {
    if (!this.pointers.delete(event.pointerId) || this.start === null) return;
    const { moved, x, y } = this.start;
    const draft = this.plot.draft;
    this.plot.draft = null;
    if (this.pointers.size) {
      // One of two fingers is left: it goes on as a drag from where it is.
      const [left] = this.pointers.values();
      this.start = { x: left, y, time: this.plot.timeAt(left), moved: true, span: false };
      return;
    }
    this.start = null;
    if (draft !== null) this.actions.span(...draft);
    else if (!moved) this.click(x, y);
    this.redraw();
  }

  click(x, y) {
    const under = this.plot.under(x, y);
    if (under === null) this.actions.pick(null);
    else if (under.alert) this.actions.label(under.alert);
    else this.actions.edit(under.label);
  }

  cancel(event) {
    this.pointers.delete(event.pointerId);
    this.plot.draft = null;
    this.start = null;
    this.redraw();
  }

  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const { view, actions } = this;
    const pan = (event.shiftKey ? 5 * KEY_PAN : KEY_PAN) * view.span;
    const keys = {
      ArrowLeft: () => view.pan(-pan),
      ArrowRight: () => view.pan(pan),
      PageUp: () => view.pan(-view.span),
      PageDown: () => view.pan(view.span),
      Home: () => view.pan(-Infinity),
      End: () => view.pan(Infinity),
      "+": () => view.zoom(1 / KEY_ZOOM),
      "=": () => view.zoom(1 / KEY_ZOOM),
      "-": () => view.zoom(KEY_ZOOM),
      0: () => view.all(),
      n: () => actions.step(1),
      p: () => actions.step(-1),
      l: () => actions.labelPicked(),
      Enter: () => actions.labelPicked(),
      Escape: () => actions.leaveSpanMode(),
    };
    if (!keys[event.key]) return;
    event.preventDefault();
    keys[event.key]();
  }
}
