// Connects the parts: the recording on show, the threshold, the labels, the drawings and the tables.

const app = {
  recording: null,
  labels: null,
  position: 0,
  picked: null, // an alert of the position in force
  spanMode: false,
  colours: {},
  pending: false,
};
const sources = [...document.querySelectorAll("script.recording")];
const opened = new Map(); // number of a recording: { recording, labels, position }
const plot = new Plot(byId("plot"));
const form = new LabelForm();
const curve = new Curve(byId("curve"), (position) => setPosition(position));
let view = null;
let overview = null;
let allFigures = null; // of every position, by the labels as they are now; null without labels

// ---- a recording

async function openRecording(number) {
  if (!opened.has(number)) {
    const recording = await unpack(sources[number].textContent);
    opened.set(number, { recording, labels: new Labels(recording.labels), position: recording.own });
  }
  const { recording, labels, position } = opened.get(number);
  Object.assign(app, { number, recording, labels, picked: null });
  view = new View(recording.timeline.start, recording.timeline.end, () => changedView());
  overview = new Overview(byId("overview"), view);
  new Hands(plot, view, redraw, {
    point: (time) => showReadout(time),
    pick: (alert) => pick(alert),
    label: (alert) => labelAlert(alert),
    edit: (label) => editLabel(label),
    span: (t0, t1) => labelSpan(t0, t1),
    step: (direction) => step(direction),
    labelPicked: () => (app.picked ? labelAlert(app.picked) : labelHere()),
    spanMode: () => app.spanMode,
    leaveSpanMode: () => setSpanMode(false),
  });
  const slider = byId("threshold");
  slider.max = recording.at.length - 1;
  fillAbout(recording);
  byId("name").textContent = recording.name;
  byId("when").textContent = `${recording.startUtc.replace("T", " ").replace("Z", " UTC")}, ${duration(recording.durationS)}`;
  judge();
  setPosition(position);
  changedView();
  showReadout(null);
  document.documentElement.dataset.recording = number;
}

// ---- what is written

const clock = (time, decimals = 1) =>
  byId("time-of-day").checked && !Number.isNaN(app.recording.startMs)
    ? timeOfDay(app.recording.startMs, time, decimals)
    : instant(time, decimals);

function showReadout(time) {
  const { recording } = app;
  let text = "Point at the plot to read values. Click an alert to label it.";
  if (time !== null && time >= view.t0 && time <= view.t1 && recording.count) {
    const i = recording.timeline.nearest(time);
    const at = recording.timeline.timeOf(i);
    if (Math.abs(at - time) < 0.5) {
      const ppm = recording.shift.values[i];
      const hz = recording.baselineHz ? ` (${signed(ppm * recording.baselineHz * 1e-6, 3)} Hz)` : "";
      text = `${clock(at, 2)}: shift ${signed(ppm, 2)} ppm${hz}, statistic ${signed(recording.statistic.values[i], 1)} σ`;
    } else text = `${clock(time, 2)}: no readings`;
  } else if (app.picked) text = alertWords(app.picked);
  byId("readout").textContent = text;
}

let speaking = 0;
/** For screen readers; waits until the slider rests, so that not every step is spoken. */
function speakLater(text) {
  clearTimeout(speaking);
  speaking = setTimeout(() => (byId("spoken").textContent = text), 500);
}

function message(text) {
  byId("message").textContent = text;
}

let tabling = 0;
function tablesLater() {
  clearTimeout(tabling);
  tabling = setTimeout(fillTables, 60);
}

function fillTables() {
  const { recording, labels } = app;
  const jump = (alert) => {
    jumpTo(alert);
    byId("plot").scrollIntoView({ block: "nearest" });
  };
  fillFinds(byId("finds-body"), app.alerts, {
    threshold: recording.at[app.position].threshold,
    judged: labels.known,
    picked: app.picked,
    time: (time) => clock(time),
    jump,
    label: labelAlert,
  });
  byId("finds-none").hidden = app.alerts.length > 0;
  fillLabels(byId("labels-body"), labels.list, {
    recording,
    found: app.found,
    time: (time) => clock(time),
    edit: (label) => editLabel(label),
    jump: (time) => {
      view.jump(time);
      byId("plot").scrollIntoView({ block: "nearest" });
    },
  });
  byId("labels-none").hidden = labels.list.length > 0;
  fillPositions(byId("positions-body"), recording, allFigures, app.position, (position) => setPosition(position));
}

// ---- drawing

function changedView() {
  byId("window").textContent = `${clock(view.t0)} to ${clock(view.t1)}`;
  redraw();
}

/** Draw with the next frame of the screen, however often it is asked for. */
function redraw() {
  if (app.pending) return;
  app.pending = true;
  requestAnimationFrame(() => {
    app.pending = false;
    draw();
  });
}

function draw() {
  const { recording, labels, colours, position } = app;
  if (!plot.canvas.clientWidth) return; // there is no layout yet
  const offset = byId("time-of-day").checked && !Number.isNaN(recording.startMs) ? (recording.startMs / 1000) % 86400 : null;
  const scene = {
    recording,
    view,
    colours,
    threshold: recording.at[position].threshold,
    alerts: app.alerts,
    holds: recording.at[position].holds,
    labels: labels.list,
    foundLabels: app.found,
    picked: app.picked,
    compress: byId("compress").checked,
    clockOffset: offset,
  };
  plot.draw(scene);
  overview.draw(scene);
  const judged = allFigures !== null && allFigures[position].passes > 0 && allFigures[position].minutes > 0;
  byId("curve-box").hidden = !judged;
  byId("curve-none").hidden = judged;
  if (judged) curve.draw(allFigures, position, colours);
  if (app.slowDrawn !== `${app.number} ${window.innerWidth} ${colours.paper}`) {
    app.slowDrawn = `${app.number} ${window.innerWidth} ${colours.paper}`;
    for (const chart of slowCharts(recording)) {
      byId(`${chart.id}-words`).textContent = slowWords(chart);
      byId(chart.id).hidden = chart.values.length === 0;
      drawSlow(byId(chart.id), chart, recording, colours);
    }
  }
}

function setTheme(name) {
  document.documentElement.dataset.theme = name;
  app.colours = readColours();
  if (app.recording) redraw();
}

function setSpanMode(on) {
  app.spanMode = on;
  byId("span").setAttribute("aria-pressed", String(on));
  byId("plot").classList.toggle("spanning", on);
  if (on) message("Drag over a pass in the plot. Escape leaves.");
  else if (byId("message").textContent.startsWith("Drag")) message("");
}

// ---- controls

byId("threshold").oninput = (event) => setPosition(Number(event.target.value));
byId("own").onclick = () => setPosition(app.recording.own);
byId("zoom-in").onclick = () => view.zoom(0.5);
byId("zoom-out").onclick = () => view.zoom(2);
byId("zoom-all").onclick = () => view.all();
byId("earlier").onclick = () => step(-1);
byId("later").onclick = () => step(1);
byId("span").onclick = () => setSpanMode(!app.spanMode);
byId("label-here").onclick = () => (app.picked ? labelAlert(app.picked) : labelHere());
byId("compress").onchange = redraw;
byId("time-of-day").onchange = () => {
  changedView();
  showReadout(null);
  fillTables();
};
byId("undo").onclick = () => {
  app.labels.undo();
  changedLabels();
};
byId("save").onclick = saveLabels;
byId("load").onchange = async (event) => {
  if (event.target.files.length) await loadLabels(event.target.files[0]);
  event.target.value = ""; // so that the same file can be loaded again
};
byId("theme").onchange = (event) => setTheme(event.target.value);
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => setTheme(byId("theme").value));
// Also when the canvas gets its first size, and when a scroll bar comes or goes.
new ResizeObserver(() => app.recording && redraw()).observe(byId("plot"));
addEventListener("keydown", (event) => {
  if ((event.ctrlKey || event.metaKey) && event.key === "z" && !form.dialog.open && app.labels.before.length) {
    event.preventDefault();
    byId("undo").click();
  }
});
addEventListener("beforeunload", (event) => {
  if ([...opened.values()].some(({ labels }) => labels.unsaved)) event.preventDefault();
});

const chooser = byId("recording");
sources.forEach((source, i) => chooser.append(element("option", source.dataset.name, { value: i })));
byId("chooser").hidden = sources.length < 2;
chooser.onchange = () => openRecording(Number(chooser.value)).catch(cannotShow);

/** For tests and for the curious: the state of the page, and its parts. */
window.coilcountReport = {
  app,
  state: () => ({
    position: app.position,
    threshold: app.recording.at[app.position].threshold,
    window: [view.t0, view.t1],
    figures: allFigures && allFigures[app.position],
    alerts: app.alerts,
    labels: app.labels.list,
    edited: app.labels.edited,
    unsaved: app.labels.unsaved,
    picked: app.picked,
  }),
  setPosition,
  plot,
  draw,
  belongs,
  figuresOf,
  readLabelFile,
  labelFileText,
};

/** A browser from before 2023 cannot unpack the data: say so instead of showing an empty page. */
function cannotShow(error) {
  byId("warnings").replaceChildren(element("li", `This browser cannot show the recording (${error.message}). Use a newer one.`));
  byId("warnings-box").hidden = false;
}

setTheme("system");
openRecording(0).then(() => {
  draw();
  fillTables();
  document.documentElement.dataset.firstDrawMs = performance.now().toFixed(0);
  document.documentElement.dataset.ready = "yes";
}, cannotShow);
