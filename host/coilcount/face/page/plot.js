// The plot: puts the lanes together, and knows what lies under a pointer.

class Plot {
  static REACH = 13; // px: how far from a glyph a click still means it

  constructor(canvas) {
    this.canvas = canvas;
    this.alertHits = [];
    this.labelHits = [];
    this.lanes = layOut(100, 300);
    this.cursor = null; // the time under the pointer
    this.draft = null; // [start, end] while a span is dragged
  }

  /** scene: recording, view, colours, threshold, alerts, holds, labels, foundLabels, picked, compress, clockOffset. */
  draw(scene) {
    const { context, width, height } = begin(this.canvas, scene.colours);
    const lanes = (this.lanes = layOut(width, height));
    this.view = scene.view;
    const toX = (time) => lanes.shift.left + ((time - scene.view.t0) / scene.view.span) * lanes.shift.width;
    drawGrid(context, lanes, scene, toX);
    drawShift(context, lanes, scene, toX);
    drawStatistic(context, lanes, scene);
    drawGaps(context, lanes, scene, toX);
    drawEvents(context, lanes, scene, toX);
    this.labelHits = drawLabels(context, lanes, scene, toX);
    this.alertHits = drawAlerts(context, lanes, scene, toX);
    this.drawPointer(context, lanes, scene.colours, toX);
  }

  drawPointer(context, lanes, colours, toX) {
    if (this.draft !== null) {
      const [x0, x1] = this.draft.map(toX);
      context.fillStyle = colours.band;
      context.strokeStyle = colours.pick;
      context.fillRect(x0, lanes.labels.top, x1 - x0, lanes.statistic.bottom);
      context.strokeRect(x0 + 0.5, lanes.labels.top + 0.5, x1 - x0, lanes.statistic.bottom);
    } else if (this.cursor !== null) {
      const x = Math.round(toX(this.cursor)) + 0.5;
      if (x < lanes.shift.left || x > lanes.shift.right) return;
      context.strokeStyle = colours.soft;
      context.beginPath();
      context.moveTo(x, lanes.shift.top);
      context.lineTo(x, lanes.statistic.bottom);
      context.stroke();
    }
  }

  timeAt(x) {
    const { left, width } = this.lanes.shift;
    return this.view.t0 + ((x - left) / width) * this.view.span;
  }

  /** The alert or the label at a place, {alert} or {label}; null if there is none. */
  under(x, y) {
    let best = null;
    for (const hit of this.alertHits) {
      const distance = Math.hypot(hit.x - x, hit.y - y);
      if (distance <= Plot.REACH && (best === null || distance < best.distance)) best = { distance, alert: hit.alert };
    }
    if (best !== null) return { alert: best.alert };
    const label = this.labelHits.find((hit) => x >= hit.x0 - 3 && x <= hit.x1 + 3 && y >= hit.top && y <= hit.bottom);
    return label ? { label: label.label } : null;
  }
}
