// Passes found against false alarms a minute, one point for each position of the slider, as measured.

class Curve {
  constructor(canvas, choose) {
    this.canvas = canvas;
    this.points = [];
    canvas.onclick = (event) => {
      const near = this.points.map((point, i) => [Math.hypot(point.x - event.offsetX, point.y - event.offsetY), i]);
      const [distance, position] = near.sort((a, b) => a[0] - b[0])[0] || [Infinity, 0];
      if (distance < 20) choose(position);
    };
  }

  /** figures: of every position; position: the one in force. */
  draw(figures, position, colours) {
    const { context, width, height } = begin(this.canvas, colours);
    const area = { left: 44, right: width - 12, top: 10, bottom: height - 38 };
    const rates = figures.map((each) => each.falseAlarms / each.minutes);
    const most = Math.max(0.5, 1.15 * Math.max(...rates));
    // The square root gives the small rates room, and has a place for zero.
    const toX = (rate) => area.left + Math.sqrt(Math.min(rate, most) / most) * (area.right - area.left);
    const toY = (share) => area.bottom - share * (area.bottom - area.top);
    context.strokeStyle = colours.grid;
    context.fillStyle = colours.soft;
    context.textBaseline = "middle";
    context.textAlign = "right";
    context.beginPath();
    for (const share of [0, 0.25, 0.5, 0.75, 1]) {
      context.moveTo(area.left, Math.round(toY(share)) + 0.5);
      context.lineTo(area.right, Math.round(toY(share)) + 0.5);
      context.fillText(percent(share), area.left - 5, toY(share));
    }
    context.textAlign = "center";
    let free = -Infinity;
    for (const rate of [0, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200]) {
      const x = toX(rate);
      if (rate > most || x < free) continue;
      context.moveTo(Math.round(x) + 0.5, area.top);
      context.lineTo(Math.round(x) + 0.5, area.bottom);
      context.fillText(brief(rate), x, area.bottom + 10);
      free = x + 28;
    }
    context.stroke();
    context.fillText("false alarms a minute", (area.left + area.right) / 2, height - 10);
    this.points = figures.map((each, i) => ({ x: toX(rates[i]), y: toY(each.found / each.passes) }));
    context.strokeStyle = colours.soft;
    context.beginPath();
    this.points.forEach(({ x, y }) => context.lineTo(x, y));
    context.stroke();
    figures.forEach((each, i) => {
      if (i !== position) this.bars(context, each, this.points[i], toX, toY, colours.grid, 1);
    });
    context.fillStyle = colours.soft;
    for (const { x, y } of this.points) context.fillRect(x - 1.5, y - 1.5, 3, 3);
    const now = this.points[position];
    this.bars(context, figures[position], now, toX, toY, colours.ink, 1.6);
    context.fillStyle = colours.pick;
    context.strokeStyle = colours.ink;
    context.beginPath();
    context.arc(now.x, now.y, 5.5, 0, 2 * Math.PI);
    context.fill();
    context.stroke();
  }

  bars(context, each, point, toX, toY, colour, lineWidth) {
    context.strokeStyle = colour;
    context.lineWidth = lineWidth;
    context.beginPath();
    context.moveTo(point.x, toY(each.foundLow));
    context.lineTo(point.x, toY(each.foundHigh));
    context.moveTo(toX(each.rateLow), point.y);
    context.lineTo(toX(each.rateHigh), point.y);
    context.stroke();
    context.lineWidth = 1;
  }
}
