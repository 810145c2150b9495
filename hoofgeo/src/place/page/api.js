// Asking the program. It alone reads, checks, measures and writes.

const KEPT = "hoofgeo-session";

/** The session that the address's key is exchanged for; it outlasts a reload, in this tab alone. */
async function session() {
  const given = location.hash.slice(1);
  if (!given) return sessionStorage.getItem(KEPT) ?? "";
  // Neither the address bar nor the tab's history is to hold the key.
  history.replaceState(null, "", location.pathname);
  try {
    const response = await fetch("/api/session", { method: "POST", cache: "no-store", redirect: "error", headers: { "X-Hoofgeo-Key": given } });
    if (response.ok) sessionStorage.setItem(KEPT, (await response.json()).session);
    else sessionStorage.removeItem(KEPT);
  } catch {
    // The first question will tell that the program does not answer.
  }
  return sessionStorage.getItem(KEPT) ?? "";
}

const key = await session();

// Another key was put into the address bar: that of a program started anew.
addEventListener("hashchange", () => { if (location.hash.length > 1) location.reload(); });

/** The program's own "no", with its reason. */
export class Refused extends Error {
  constructor(status, body) {
    super(body?.error?.what ?? `refused (${status})`);
    this.status = status;
    this.error = body?.error;
    /** An earlier version of another program's, put beside the sidecar. */
    this.aside = body?.aside;
  }
}

/** The program does not answer. */
export class Unreachable extends Error {}

async function send(path, options) {
  let response;
  try {
    response = await fetch(`/api/${path}`, { cache: "no-store", redirect: "error", ...options, headers: { "X-Hoofgeo-Key": key } });
  } catch {
    throw new Unreachable("the program is not running");
  }
  if (!response.ok) throw new Refused(response.status, await response.json().catch(() => null));
  return response;
}

export const get = async (path) => (await send(path, {})).json();
export const post = async (path, body = {}) => (await send(path, { method: "POST", body: JSON.stringify(body) })).json();
export const picture = async (path) => (await send(path, {})).blob();
