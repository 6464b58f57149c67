// The labels of one recording while they are edited: changes, undo, and whether they are saved.

class Labels {
  /** list: the labels beside the recording, or null if there were none. */
  constructor(list) {
    this.list = Labels.sorted(list || []);
    this.known = list !== null; // false: nobody has labelled this recording
    this.edited = false; // true: they differ from those beside the recording
    this.original = JSON.stringify(this.list);
    this.savedText = this.original;
    this.before = []; // what undo returns to
  }

  static sorted(list) {
    return [...list].sort((a, b) => a.start - b.start || a.end - b.end);
  }

  get unsaved() {
    return JSON.stringify(this.list) !== this.savedText;
  }

  /** Take a new list; the old one can be taken back. */
  replace(list) {
    this.before.push({ list: this.list, known: this.known });
    this.take(list, true);
  }

  add(label) {
    this.replace([...this.list, label]);
  }

  change(old, label) {
    this.replace(this.list.map((one) => (one === old ? label : one)));
  }

  remove(old) {
    this.replace(this.list.filter((one) => one !== old));
  }

  undo() {
    const { list, known } = this.before.pop();
    this.take(list, known);
  }

  saved() {
    this.savedText = JSON.stringify(this.list);
  }

  take(list, known) {
    this.list = Labels.sorted(list);
    this.known = known;
    this.edited = JSON.stringify(this.list) !== this.original;
  }
}
