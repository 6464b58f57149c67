// The overview strip: the whole recording in small, and the window of the plot, which can be moved and resized.

class Overview {
  static EDGE = 8; // px: how near to an edge of the window a drag resizes it

  constructor(canvas, view) {
    this.canvas = canvas;
    this.view = view;
    this.drag = null;
    this.picture = null; // the trace, drawn once for each size and theme
    canvas.onpointerdown = (event) => this.down(event);
    canvas.onpointermove = (event) => this.move(event);
    canvas.onpointerup = canvas.onpointercancel = () => (this.drag = null);
  }

  draw(scene) {
    const { context, width, height } = begin(this.canvas, scene.colours);
    const key = `${this.canvas.width} ${this.canvas.height} ${scene.colours.trace} ${scene.colours.paper}`;
    if (this.picture === null || this.picture.key !== key) this.picture = { key, image: this.drawTrace(scene) };
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.drawImage(this.picture.image, 0, 0);
    const ratio = this.canvas.width / width;
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    for (const alert of scene.alerts) {
      context.fillStyle = alert.sign >= 0 ? scene.colours.rise : scene.colours.fall;
      context.fillRect(this.toX(alert.peak) - 1, alert.sign >= 0 ? 0 : height - 6, 2, 6);
    }
    for (const label of scene.labels) {
      context.fillStyle = isObject(scene.recording, label) ? scene.colours.object : scene.colours.nothing;
      context.fillRect(this.toX(label.closest) - 1.5, 7, 3, 4);
    }
    const [x0, x1] = [this.toX(this.view.t0), this.toX(this.view.t1)];
    context.globalAlpha = 0.55;
    context.fillStyle = scene.colours.grid;
    context.fillRect(0, 0, x0, height);
    context.fillRect(x1, 0, width - x1, height);
    context.globalAlpha = 1;
    context.strokeStyle = scene.colours.ink;
    context.lineWidth = 2;
    context.strokeRect(x0 + 1, 1, Math.max(4, x1 - x0 - 2), height - 2);
  }

  drawTrace(scene) {
    const image = document.createElement("canvas");
    [image.width, image.height] = [this.canvas.width, this.canvas.height];
    const context = image.getContext("2d");
    const { recording, colours } = scene;
    const [low, high] = recording.shift.range(0, recording.count);
    const knee = Math.max(recording.noisePpm || 0, 1e-3) * 4;
    const bend = (value) => Math.asinh(value / knee);
    const [bottom, top] = [bend(Math.min(low, -knee)), bend(Math.max(high, knee))];
    const lane = { left: 0, width: image.width };
    const margin = 0.16 * image.height;
    const toY = (value) => image.height - margin - ((bend(value) - bottom) / (top - bottom)) * (image.height - 2 * margin);
    const [t0, t1] = this.view.limits;
    drawTrace(context, recording.shift, recording.timeline, lane, { t0, t1, span: t1 - t0 }, toY, colours.soft, 1);
    const toX = (time) => ((time - t0) / (t1 - t0)) * image.width;
    for (const [start, end] of recording.timeline.breaks) {
      context.fillStyle = colours.grid;
      context.fillRect(toX(start), 0, Math.max(LEAST_GAP, toX(end) - toX(start)), image.height);
    }
    return image;
  }

  toX(time) {
    const [t0, t1] = this.view.limits;
    return ((time - t0) / (t1 - t0)) * this.canvas.clientWidth;
  }

  toTime(x) {
    const [t0, t1] = this.view.limits;
    return t0 + (x / this.canvas.clientWidth) * (t1 - t0);
  }

  down(event) {
    this.canvas.setPointerCapture(event.pointerId);
    const [x0, x1] = [this.toX(this.view.t0), this.toX(this.view.t1)];
    const x = event.offsetX;
    const near = (edge) => Math.abs(x - edge) <= Overview.EDGE && x1 - x0 > 3 * Overview.EDGE;
    if (near(x0)) this.drag = { edge: 0 };
    else if (near(x1)) this.drag = { edge: 1 };
    else {
      if (x < x0 || x > x1) this.view.pan(this.toTime(x) - (this.view.t0 + this.view.t1) / 2);
      this.drag = { hold: this.toTime(x) - this.view.t0 };
    }
  }

  move(event) {
    if (this.drag === null) return;
    const time = this.toTime(event.offsetX);
    if (this.drag.edge === 0) this.view.show(Math.min(time, this.view.t1 - View.LEAST_S), this.view.t1);
    else if (this.drag.edge === 1) this.view.show(this.view.t0, Math.max(time, this.view.t0 + View.LEAST_S));
    else this.view.pan(time - this.drag.hold - this.view.t0);
  }
}
