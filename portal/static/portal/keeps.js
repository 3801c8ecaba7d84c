// Whether pages of this browser keep something that signing out has to ask about and clear
// (leaving.js). Without it signing out is the plain form, at once.

const KEY = "sidelane-keeps";

export function keep() {
  try {
    localStorage.setItem(KEY, "1");
  } catch {
    // where this cannot be kept, nothing else is
  }
}

export function keepNoMore() {
  try {
    localStorage.removeItem(KEY);
  } catch {
    // as above
  }
}

export function keeps() {
  try {
    return localStorage.getItem(KEY) !== null;
  } catch {
    return false;
  }
}
