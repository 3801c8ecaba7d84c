// Reading a place: a tap says where it lies, a second one how far the two are apart.

import { startHand } from "./hand.js";
import { numbered } from "./sheets.js";

export function startReading(room, part, sheets, sending, { say }) {
  let first = null; // { view, frame, at }
  let asked = 0;

  const clear = () => { for (const { pointed } of sheets.all()) pointed.replaceChildren(); };
  const forget = () => { first = null; asked += 1; };

  async function point(view, at) {
    const mine = (asked += 1);
    const frame = room.now().frames?.[view.key];
    if (frame === null || frame === undefined) return;
    const second = first?.view === view.key && first.frame === frame;
    const points = second ? [first.at, at] : [at];
    first = second ? null : { view: view.key, frame, at };
    const sheet = sheets.sheet(view.key);
    clear();
    sheet.pointed.replaceChildren(...points.map((one, n) => numbered(one, n + 1, sheet, "set-mark")));
    const told = await sending.read(view.key, frame, points);
    if (mine !== asked) return;
    if (told.errors) first = null;
    say([...(told.errors ?? told.said), ...(first ? [part.dataset.readNext] : [])].join(" "));
  }

  startHand(room, sheets, part.querySelector("[data-plane-read]"), {
    tool: "metres-read",
    point,
    onTake(on) {
      forget();
      say(on ? part.dataset.readHint : "");
    },
  });
  room.element.addEventListener("room:frame", ({ detail: { frames } }) => {
    if (first && frames[first.view] !== first.frame) {
      forget();
      clear();
    }
  });
}
