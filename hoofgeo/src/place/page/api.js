// Asking the program. It alone reads, checks, measures and writes.

const key = location.hash.slice(1);

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
