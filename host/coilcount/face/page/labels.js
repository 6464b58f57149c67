// The labels of one recording while they are edited: changes, undo, and whether they are saved.

class Labels {
  /** list: the labels beside the recording, or null if there is no such file. */
  constructor(list) {
    this.list = Labels.sorted(list || []);
    this.emptyMeansNothing = list !== null && list.length === 0; // a label file without labels lay beside the recording
    this.edited = false; // true: they differ from those beside the recording
    this.original = JSON.stringify(this.list);
    this.savedText = this.original;
    this.before = []; // what undo returns to
  }

  static sorted(list) {
    return [...list].sort((a, b) => a.start - b.start || a.end - b.end);
  }

  /** False if nobody has labelled this recording, so that nothing can be judged. */
  get known() {
    return this.list.length > 0 || this.emptyMeansNothing;
  }

  get unsaved() {
    return JSON.stringify(this.list) !== this.savedText;
  }

  /** Take a new list; the old one can be taken back. */
  replace(list) {
    this.before.push(this.list);
    this.take(list);
  }

  add(label) {
    this.replace([...this.list, label]);
  }

  change(old, label) {
    this.replace(this.list.map((kept) => (kept === old ? label : kept)));
  }

  remove(old) {
    this.replace(this.list.filter((kept) => kept !== old));
  }

  undo() {
    this.take(this.before.pop());
  }

  saved() {
    this.savedText = JSON.stringify(this.list);
  }

  take(list) {
    this.list = Labels.sorted(list);
    this.edited = JSON.stringify(this.list) !== this.original;
  }
}
