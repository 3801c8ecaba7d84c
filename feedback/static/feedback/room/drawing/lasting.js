// How long a drawing stands: in seconds as it is chosen, in frames of its view as it is kept. Pure.

// The last frame on which it stands; at the latest the last one of its view.
export function untilFrame({ frame_count, from_s, to_s }, frame, span_s) {
  const per_s = frame_count / Math.max(0.001, to_s - from_s);
  return Math.min(frame_count - 1, frame + Math.round(span_s * per_s));
}

// Which of some choices (seconds) lets it stand as long as it does; null: none of them.
export function choiceOf(view, { frame, until_frame }, choices) {
  const until = until_frame ?? frame;
  return choices.find((span_s) => untilFrame(view, frame, span_s) === until) ?? null;
}
