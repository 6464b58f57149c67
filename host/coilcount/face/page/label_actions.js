// What happens with labels on the page: made by a click, a span or a key, saved, loaded, and counted.

/** Called when the labels have changed: count every position again. */
function judge() {
  const { recording, labels } = app;
  allFigures = null;
  if (labels.known) {
    allFigures = recording.at.map((at) =>
      labels.edited || at.figures === null ? figuresOf(recording, at.alerts.map((i) => recording.alerts.peak[i]), labels.list) : at.figures,
    );
  }
  byId("edited").hidden = !(labels.known && labels.edited);
  byId("undo").disabled = labels.before.length === 0;
  byId("unsaved").hidden = !labels.unsaved;
  byId("partly").hidden = !labels.known;
}

function changedLabels() {
  judge();
  setPosition(app.position);
}

function editLabel(label, existing = true) {
  const { labels, recording } = app;
  const limits = [recording.timeline.start, recording.timeline.end];
  form.open(label, existing, { limits, proposed: recording.proposed }, (what, made) => {
    if (what === "remove") labels.remove(label);
    else if (existing) labels.change(label, made);
    else labels.add(made);
    changedLabels();
  });
}

const toMs = (time) => Number(time.toFixed(3));

function labelAlert(alert) {
  pick(alert);
  const existing = alert.labels[0] || app.labels.list.find((label) => belongs(alert.peak, label, app.recording.nearS));
  if (existing) return editLabel(existing);
  const reach = Math.max(alert.width, 0.05);
  editLabel(newLabel(alert.peak - reach, alert.peak + reach, alert.peak, alert.response), false);
}

function newLabel(start, end, closest, response) {
  const label = { object: "", metal: "", response, depth: null, note: "" };
  const closestMs = toMs(closest);
  return { start: Math.min(toMs(start), closestMs), end: Math.max(toMs(end), closestMs), closest: closestMs, ...label };
}

/** A label for a dragged span: the closest approach is where the shift is largest. */
function labelSpan(t0, t1) {
  const { recording } = app;
  const { timeline } = recording;
  const [first, end] = [timeline.indexAt(t0), timeline.indexAt(t1)];
  let best = Math.min(first, recording.count - 1);
  for (let i = first; i < end; i++) {
    if (Math.abs(recording.shift.values[i]) > Math.abs(recording.shift.values[best])) best = i;
  }
  const closest = Math.min(Math.max(timeline.timeOf(best), t0), t1);
  setSpanMode(false);
  editLabel(newLabel(t0, t1, closest, recording.shift.values[best] < 0 ? "ferrous" : "non-ferrous"), false);
}

function labelHere() {
  const middle = (view.t0 + view.t1) / 2;
  const reach = Math.min(0.25, view.span / 4);
  labelSpan(middle - reach, middle + reach);
}

function saveLabels() {
  const { labels, recording } = app;
  const url = URL.createObjectURL(new Blob([labelFileText(labels.list)], { type: "text/csv" }));
  const link = element("a", "", { href: url, download: recording.labelFile });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(url), 10000);
  labels.saved();
  changedLabels();
  const empty = labels.list.length ? "" : " A file without labels says that nothing lay in the whole recording.";
  message(`Saved as a download: ${recording.labelFile}. Put it beside the recording.${empty}`);
}

async function loadLabels(file) {
  const { labels, recording } = app;
  try {
    const list = readLabelFile(await file.text());
    labels.replace(list);
    labels.saved();
    const outside = list.filter((label) => label.end < recording.timeline.start || label.start > recording.timeline.end).length;
    message(`${list.length} labels loaded from ${file.name}.` + (outside ? ` ${outside} of them lie outside the recording.` : ""));
  } catch (error) {
    message(`The label file is not used. ${error.message}`);
    return;
  }
  changedLabels();
}
