// The bodies as this page has them: what is set stands at once, the server tells what it means.

import { createPost } from "./post.js";

export function createStore(part, first, { url, table, onChange, onAnswer, onTrouble }) {
  const post = createPost(part);
  let [bodies, ways] = [first.bodies, first.ways];
  let good = bodies; // as the server has them
  let asked = 0;
  let unsaved = false;

  const mine = (view, frame) =>
    bodies.find((one) => one.mine && one.view === view && one.frame === frame);

  async function send(to, fields) {
    const before = (asked += 1);
    const { told, refused, lost } = await post(to, fields);
    unsaved = Boolean(lost);
    if (told) good = told.bodies;
    if (before !== asked && !refused) return; // a newer one is on its way
    if (told) [bodies, ways] = [told.bodies, told.ways];
    else if (refused) bodies = good;
    onChange();
    onTrouble(refused ?? lost ?? "");
    if (told) onAnswer(told);
  }

  // Without its figures until the server has told them.
  function preview(view, frame, points) {
    const known = mine(view, frame);
    const next = { key: "new", mine: true, view, frame, ...known, points, centre: null, labels: [] };
    bodies = known ? bodies.map((one) => (one === known ? next : one)) : [...bodies, next];
    onChange();
  }

  return {
    bodies: () => bodies,
    ways: () => ways,
    mine,
    points: (view, frame) => mine(view, frame)?.points ?? {},
    unsaved: () => unsaved,
    preview,
    save(view, frame, points) {
      preview(view, frame, points);
      return send(url, { clip: view, frame, points: JSON.stringify(points), table: table() });
    },
    send,
  };
}
