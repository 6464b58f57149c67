// What is chosen: a threshold of the slider, and one of its alerts.

/** The alerts of a position, each with its find and what the labels say about it. */
function alertsAt(position) {
  const { recording, labels } = app;
  const columns = recording.alerts;
  return recording.at[position].alerts.map((row, i) => {
    const alert = { find: recording.at[position].findOf[i] };
    for (const [name, values] of Object.entries(columns)) alert[name] = values[row];
    const objects = judgedLabels(recording, labels.list).filter((label) => belongs(alert.peak, label, recording.nearS));
    return { ...alert, labels: objects, verdict: !labels.known ? "unjudged" : objects.length ? "found" : "false" };
  });
}

/** A position of the slider in words: its threshold, and the rate that is asked for if it is no fixed threshold. */
function positionWords(at, sigma) {
  const asked = at.asked === null ? "" : `, at most ${at.asked} false alarm${at.asked === 1 ? "" : "s"} a minute`;
  return `${at.threshold.toFixed(2)} ${sigma}${asked}`;
}

/** How often noise alone gives such a score, after a comma; nothing for a broad dip, which is no noise. */
function rarityWords({ rarity: minutes, reasons }) {
  if (minutes === null) return reasons.includes("soil, or the coil was lifted") ? "" : ", rarity not known yet";
  if (minutes >= 10) return ", noise alone does this once in 10 min or more";
  const length = minutes < 0.99 ? `${Math.max(1, Math.round(60 * minutes))} s` : `${minutes.toFixed(minutes < 2.95 ? 1 : 0)} min`;
  return `, noise alone does this about once in ${length}`;
}

function setPosition(position) {
  const { recording, labels } = app;
  app.position = position;
  opened.get(app.number).position = position;
  app.alerts = alertsAt(position);
  const { picked } = app;
  app.picked = picked === null ? null : app.alerts.find((alert) => alert.peak === picked.peak && alert.sign === picked.sign) || null;
  app.found = new Set(app.alerts.flatMap((alert) => alert.labels));
  const slider = byId("threshold");
  slider.value = position;
  slider.setAttribute("aria-valuetext", positionWords(recording.at[position], "sigma"));
  byId("threshold-value").textContent = positionWords(recording.at[position], "σ");
  byId("own").disabled = position === recording.own;
  showFigures();
  speakLater(figuresInWords());
  redraw();
  tablesLater();
}

function figuresShown() {
  const { recording, labels, position } = app;
  const figures = allFigures && allFigures[position];
  const shown = { alerts: recording.at[position].alerts.length, finds: new Set(app.alerts.map((alert) => alert.find)).size };
  shown.passes = !labels.known ? "no labels" : figures.passes ? `${figures.found} of ${figures.passes}` : "none labelled";
  shown.passesInterval = figures && figures.passes ? `${percent(figures.foundLow)} to ${percent(figures.foundHigh)}` : "";
  shown.falseAlarms = figures ? `${figures.falseAlarms}` : "no labels";
  shown.rate = !figures ? "no labels" : figures.minutes > 0 ? brief(figures.falseAlarms / figures.minutes) : "no minutes";
  shown.rateInterval = figures && figures.minutes > 0 ? `${brief(figures.rateLow)} to ${brief(figures.rateHigh)}` : "";
  return shown;
}

function showFigures() {
  for (const [name, text] of Object.entries(figuresShown())) byId(`figure-${name}`).textContent = text;
}

function figuresInWords() {
  const shown = figuresShown();
  const threshold = positionWords(app.recording.at[app.position], "sigma");
  const judged = app.labels.known ? `, passes found ${shown.passes}, false alarms ${shown.falseAlarms}, a minute ${shown.rate}` : "";
  return `Threshold ${threshold}: ${shown.alerts} alerts, ${shown.finds} finds${judged}.`;
}

function pick(alert) {
  app.picked = alert;
  showReadout(null);
  redraw();
  tablesLater();
}

function alertWords(alert) {
  const index = app.alerts.indexOf(alert) + 1;
  const seen = alert.seen > 1 ? `, seen ${alert.seen} times` : "";
  const verdict = { found: `, ${alert.labels.map(labelWords).join(", ")}`, false: ", false alarm by the labels", unjudged: "" }[alert.verdict];
  return (
    `Alert ${index} of ${app.alerts.length} at ${clock(alert.peak)}: ${WENT[alert.sign]} ${signed(alert.ppm, 2)} ppm, ` +
    `${ANSWER[alert.response]}${seen}, score ${alert.score.toFixed(1)} σ${rarityWords(alert)}${verdict}`
  );
}

function step(direction) {
  const sorted = [...app.alerts].sort((a, b) => a.peak - b.peak);
  if (!sorted.length) return;
  const now = app.picked ? app.picked.peak : direction > 0 ? view.t0 - 1e-9 : view.t1;
  const ahead = direction > 0 ? sorted.find((alert) => alert.peak > now) : sorted.findLast((alert) => alert.peak < now);
  if (ahead) jumpTo(ahead);
}

function jumpTo(alert) {
  view.jump(alert.peak);
  pick(alert);
  speakLater(alertWords(alert));
}
