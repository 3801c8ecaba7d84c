// The bodies as this page has them: what is set stands at once, the server tells what it means.
// What did not get there stays on the page and goes with the next that does.

import { createPost } from "./post.js";

export function createStore(part, first, { url, table, onChange, onAnswer, onTrouble }) {
  const post = createPost(part);
  let [bodies, ways] = [first.bodies, first.ways];
  let good = bodies; // as the server has them
  let asked = 0;
  let latest = null; // answer that the page has not taken in, since a newer one was on its way
  const own = new Map(); // "view:frame" → the newest of it that the server has not told back

  const mine = (view, frame, all = bodies) =>
    all.find((one) => one.mine && one.view === view && one.frame === frame);
  const lostOnes = () => [...own.values()].filter((one) => one.lost);

  // Without its figures until the server has told them.
  function laid(all, { view, frame, points }) {
    const known = mine(view, frame, all);
    const next = { key: "new", mine: true, view, frame, ...known, points, centre: null, labels: [] };
    return known ? all.map((one) => (one === known ? next : one)) : [...all, next];
  }
  function preview(view, frame, points) {
    bodies = laid(bodies, { view, frame, points });
    onChange();
  }

  async function send(to, fields, one = null) {
    const before = (asked += 1);
    const { told, refused, lost } = await post(to, fields);
    if (told) [good, latest] = [told.bodies, told];
    if (one) one.lost = Boolean(lost);
    if (one && !lost && own.get(one.key) === one) own.delete(one.key);
    if (told) again();
    if (told && before !== asked) return; // a newer one is on its way
    const answer = latest;
    latest = null;
    if (answer) ways = answer.ways;
    bodies = [...own.values()].reduce(laid, good);
    onChange();
    onTrouble(refused ?? lost ?? (lostOnes().length ? part.dataset.notSent : ""));
    if (answer) onAnswer(answer);
  }

  function sendOne(one) {
    const { view, frame, points } = one;
    one.lost = false;
    return send(url, { clip: view, frame, points: JSON.stringify(points), table: table() }, one);
  }
  const again = () => lostOnes().forEach(sendOne);

  return {
    bodies: () => bodies,
    ways: () => ways,
    mine,
    points: (view, frame) => mine(view, frame)?.points ?? {},
    unsaved: () => own.size > 0,
    preview,
    save(view, frame, points) {
      const one = { key: `${view}:${frame}`, view, frame, points, lost: false };
      own.set(one.key, one);
      preview(view, frame, points);
      return sendOne(one);
    },
    send: (to, fields) => send(to, fields),
    again,
  };
}
