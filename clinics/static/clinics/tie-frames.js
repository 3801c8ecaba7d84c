// Steps through a recording frame by frame. Each question brings a short run of exact pictures
// with their numbers; the page's own form then names the frame that is shown.

const KEPT_RUNS = 6;

class FrameViewer {
  constructor(root) {
    this.root = root;
    this.run = Number(root.dataset.run);
    this.last = Number(root.dataset.last);
    this.frame = Number(root.dataset.frame);
    this.runs = new Map(); // first frame of a run -> promise of its pictures
    this.find = (name) => root.querySelector(`[data-${name}]`);
    this.slider = root.querySelector("input[type=range]");
    for (const spare of root.querySelectorAll("[data-without-script]")) spare.hidden = true;
    this.listen();
    this.go(this.frame);
  }

  listen() {
    for (const link of this.root.querySelectorAll("[data-step]")) {
      link.addEventListener("click", (event) => {
        event.preventDefault();
        this.go(this.frame + Number(link.dataset.step));
      });
    }
    for (const area of document.querySelectorAll("area[data-frame]")) {
      area.addEventListener("click", (event) => {
        event.preventDefault();
        this.go(Number(area.dataset.frame));
      });
    }
    this.slider.addEventListener("input", () => this.go(Number(this.slider.value)));
    this.find("go").addEventListener("submit", (event) => event.preventDefault());
    document.addEventListener("keydown", (event) => {
      const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
      if (!step || event.altKey || event.ctrlKey || event.metaKey) return;
      if (event.target.closest("input, select, textarea, .contact")) return;
      event.preventDefault();
      this.go(this.frame + step * (event.shiftKey ? 10 : 1));
    });
  }

  go(number) {
    this.frame = Math.min(Math.max(number, 0), this.last);
    this.slider.value = this.frame;
    this.find("view").classList.add("loading");
    this.find("number").textContent = this.frame;
    this.find("frame-field").value = ""; // until the picture is on screen nothing can be tied
    this.find("tie-button").disabled = true;
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
    if (!response.ok) throw new Error(await response.text());
    return (await response.json()).frames;
  }

  async show(number) {
    try {
      const frames = await this.load(this.firstOf(number));
      const wanted = frames.find((one) => one.frame === number);
      if (number !== this.frame || !wanted) return; // moved on meanwhile
      this.find("picture").src = wanted.picture;
      this.find("picture").alt = this.root.dataset.wordsFrame.replace("{n}", number);
      this.find("clock").textContent = wanted.clock;
      this.find("frame-field").value = number;
      this.find("tie-button").disabled = false;
      this.find("trouble").textContent = "";
      this.find("view").classList.remove("loading");
      this.row(frames);
    } catch (problem) {
      this.find("trouble").textContent = problem.message;
    }
  }

  row(frames) {
    const buttons = frames.map((one) => {
      const button = document.createElement("button");
      const image = document.createElement("img");
      button.type = "button";
      image.src = one.picture;
      image.alt = this.root.dataset.wordsFrame.replace("{n}", one.frame);
      if (one.frame === this.frame) button.setAttribute("aria-current", "true");
      button.append(image);
      button.addEventListener("click", () => this.go(one.frame));
      return button;
    });
    this.find("row").replaceChildren(...buttons);
  }
}

for (const root of document.querySelectorAll("[data-tie]")) new FrameViewer(root);
