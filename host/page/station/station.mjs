// What the views see of a logger, whichever way it is reached: a state, news of it, and a few commands.
//
// News are events: "change" (anything in the state), "status" (a new number), "samples" (of the run being recorded, in
// `detail`), "kept" (a run is here, `detail` its key), "reading" (the computer has read a pull, `detail` what it says).

export class Station extends EventTarget {
  state = {
    link: "off", // off, connecting, on, lost
    trouble: "", // a sentence for the person, or nothing
    reload: false, // only loading the page again helps
    name: "",
    serial: "",
    status: null,
    statusAtMs: -Infinity,
    settings: null,
    calibration: null,
    key: "unknown", // open: the logger has none; ours: begun under it; unknown: the logger has one that is not here
    clockSet: false,
    mayCommand: false,
    session: null, // {title, unit, specimens, stop_load_n, holds} of the computer's session
    purpose: "", // "weighing": that run is one
    run: 0, // number of the run that was armed or is being recorded, 0 if none
  };

  set(changes) {
    Object.assign(this.state, changes);
    this.tell("change");
  }

  tell(name, detail = null) {
    this.dispatchEvent(new CustomEvent(name, { detail }));
  }

  took(status, nowMs = performance.now()) {
    this.state.status = status;
    this.state.statusAtMs = nowMs;
    this.tell("status");
  }
}
