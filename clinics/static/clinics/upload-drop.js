// The files of a drop. From a dropped folder (a whole card) only the recordings in it:
// cameras keep lists, indexes and small pictures beside them.

const RECORDINGS = /\.(mts|m2ts|ts|mp4|m4v|mov|mpg|mpeg|vob|mod|tod|avi|wmv|asf|mkv|webm|3gp)$/i;

export async function filesDropped(transfer) {
  const entries = [...transfer.items]
    .filter((item) => item.kind === "file")
    .map((item) => item.webkitGetAsEntry())
    .filter(Boolean);
  if (!entries.some((entry) => entry.isDirectory)) return [...transfer.files];
  const files = [];
  for (const entry of entries) await walk(entry, files);
  return files;
}

async function walk(entry, files) {
  if (entry.isFile) {
    if (!RECORDINGS.test(entry.name)) return;
    files.push(await new Promise((good, bad) => entry.file(good, bad)));
    return;
  }
  const reader = entry.createReader();
  for (;;) {
    const some = await new Promise((good, bad) => reader.readEntries(good, bad));
    if (!some.length) return; // a reader gives at most a hundred at a time
    for (const inner of some) await walk(inner, files);
  }
}
