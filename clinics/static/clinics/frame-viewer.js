// Steps through a recording frame by frame. Each question brings a short run of exact pictures
// with their numbers. It knows nothing of forms: it sends, from its root,
//   frame-viewer:moving  the picture on screen is no longer the one asked for
//   frame-viewer:shown   detail {frame, media_s, hidden}  this very frame is on screen
// Arrow keys step the viewer that was used last.

const KEPT_RUNS = 6;

export class FrameViewer {
  static current = null;

  constructor(root) {
    this.root = root;
    this.name = root.dataset.viewer;
    this.run = Number(root.dataset.run);
    this.last = Number(root.dataset.last);
    this.frame = Number(root.dataset.frame);
    this.runs = new Map(); // first frame of a run -> promise of its pictures
    this.find = (name) => root.querySelector(`[data-${name}]`);
    this.slider = root.querySelector("input[type=range]");
    FrameViewer.current ??= this;
    for (const spare of root.querySelectorAll("[data-without-script]")) spare.hidden = true;
    this.listen();
  }

  listen() {
    for (const link of this.root.querySelectorAll("[data-step]")) {
      link.addEventListener("click", (event) => {
        event.preventDefault();
        this.go(this.frame + Number(link.dataset.step));
      });
    }
    for (const used of ["pointerdown", "focusin"]) {
      this.root.addEventListener(used, () => { FrameViewer.current = this; });
    }
    this.slider.addEventListener("input", () => this.go(Number(this.slider.value)));
    this.find("go").addEventListener("submit", (event) => event.preventDefault());
    document.addEventListener("keydown", (event) => {
      const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
      if (!step || event.altKey || event.ctrlKey || event.metaKey) return;
      if (FrameViewer.current !== this) return;
      if (event.target.closest("input, select, textarea, .contact, [role=slider]")) return;
      event.preventDefault();
      this.go(this.frame + step * (event.shiftKey ? 10 : 1));
    });
  }

  send(name, detail) {
    this.root.dispatchEvent(new CustomEvent(`frame-viewer:${name}`, { detail, bubbles: true }));
  }

  go(number) {
    this.frame = Math.min(Math.max(number, 0), this.last);
    this.slider.value = this.frame;
    this.find("view").classList.add("loading");
    this.find("number").textContent = this.frame;
    this.send("moving");
    window.clearTimeout(this.timer);
    const wait = this.runs.has(this.firstOf(this.frame)) ? 0 : 120;
    this.timer = window.setTimeout(() => this.show(this.frame), wait);
  }

  firstOf(number) {
    return Math.floor(number / this.run) * this.run;
  }

  load(first) {
    if (!this.runs.has(first)) {
      const asked = this.ask(first).catch((problem) => {
        this.runs.delete(first);
        throw problem;
      });
      this.runs.set(first, asked);
      if (this.runs.size > KEPT_RUNS) this.runs.delete(this.runs.keys().next().value);
    }
    return this.runs.get(first);
  }

  async ask(first) {
    const url = `${this.root.dataset.framesUrl}?from=${first}`;
    const response = await fetch(url, { credentials: "same-origin" });
    if (!response.ok) {
      const said = response.headers.get("Content-Type")?.startsWith("text/plain");
      throw new Error(said ? await response.text() : this.root.dataset.wordsTrouble);
    }
    return (await response.json()).frames;
  }

  async show(number) {
    try {
      const frames = await this.load(this.firstOf(number));
      const wanted = frames.find((one) => one.frame === number);
      if (number !== this.frame || !wanted) return; // moved on meanwhile
      const hidden = Boolean(wanted.hidden);
      this.find("picture").hidden = hidden;
      this.find("hidden").hidden = !hidden;
      if (!hidden) this.find("picture").src = wanted.picture;
      this.find("picture").alt = this.named(number);
      this.find("clock").textContent = wanted.clock;
      this.find("trouble").textContent = "";
      this.find("view").classList.remove("loading");
      this.row(frames);
      this.send("shown", { frame: number, media_s: wanted.media_s, hidden });
    } catch (problem) {
      if (number === this.frame) this.find("trouble").textContent = problem.message;
    }
  }

  named(number) {
    return this.root.dataset.wordsFrame.replace("{n}", number);
  }

  row(frames) {
    const buttons = frames.filter((one) => one.picture).map((one) => {
      const button = document.createElement("button");
      const image = document.createElement("img");
      button.type = "button";
      image.src = one.picture;
      image.alt = this.named(one.frame);
      if (one.frame === this.frame) button.setAttribute("aria-current", "true");
      button.append(image);
      button.addEventListener("click", () => this.go(one.frame));
      return button;
    });
    const hadFocus = this.find("row").contains(document.activeElement);
    this.find("row").replaceChildren(...buttons);
    if (hadFocus) this.find("row").querySelector("[aria-current]")?.focus({ preventScroll: true });
  }
}
