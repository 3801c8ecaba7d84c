// The marks of known place that are being set: on one view, from one frame. They stay until they
// are kept or dropped. Pure: what is typed stays as it was typed.

export function makeSetMarks({ changed }) {
  let place = null; // { view, frame } of the first one
  let marks = [];
  let serial = 0;

  const set = (next) => { marks = next; changed(); };
  return {
    place: () => place,
    all: () => marks,
    add(view, frame, [x, y], { what, cm }) {
      place ??= { view, frame };
      serial += 1;
      const mark = { key: serial, x, y, along: "", across: "", what, cm };
      set([...marks, mark]);
      return mark;
    },
    // Where they stand in the picture, all at once, in their order.
    move(points) {
      set(marks.map((mark, n) => ({ ...mark, x: points[n][0], y: points[n][1] })));
    },
    tell(key, more) {
      set(marks.map((mark) => (mark.key === key ? { ...mark, ...more } : mark)));
    },
    remove(key) {
      const left = marks.filter((mark) => mark.key !== key);
      if (!left.length) place = null;
      set(left);
    },
    drop() {
      place = null;
      set([]);
    },
  };
}
