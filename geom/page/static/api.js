// Every request the page makes. An answer that is not one becomes a Refusal with the field it is about.

const token = document.querySelector('meta[name="token"]').content;

export class Refusal extends Error {
  constructor(error, status = 0) {
    super(error.message || "something went wrong");
    this.hint = error.hint || "";
    this.field = error.field || null;
    this.slug = error.slug || "";
    this.status = status;
    this.mistakes = error.mistakes || [];
  }

  get all() {
    return this.mistakes.length ? this.mistakes : [this];
  }
}

async function asked(path, options) {
  let reply;
  try {
    reply = await fetch(path, { credentials: "same-origin", ...options });
  } catch (cause) {
    if (cause.name === "AbortError") throw cause;
    throw new Refusal({
      message: "the program behind this page does not answer",
      hint: "start it again with geom page; what was planned is kept",
      slug: "no-server",
    });
  }
  const body = await reply.json().catch((cause) => {
    if (cause.name === "AbortError") throw cause;
    return null;
  });
  if (reply.ok && body !== null) return body;
  const error = (body && body.error) || { message: `the page was answered with status ${reply.status}` };
  throw new Refusal(error, reply.status);
}

const get = (path, signal) => asked(path, { signal });

const post = (path, body, signal) =>
  asked(path, {
    method: "POST",
    signal,
    headers: { "Content-Type": "application/json", "X-Token": token },
    body: JSON.stringify(body),
  });

const of = (plan) => `/api/plans/${encodeURIComponent(plan)}`;

export const start = () => get("/api/start");
export const look = (answers, signal) => post("/api/look", { answers }, signal);
export const plan = (answers) => post("/api/plans", { answers });
export const plans = async () => {
  const body = await get("/api/plans");
  return Array.isArray(body) ? body : body.plans;
};
export const status = (id, signal) => get(of(id), signal);
export const cancel = (id) => post(`${of(id)}/cancel`, {});
export const answer = (id) => get(`${of(id)}/answer`);
export const whatIf = (id, answers, signal) => post(`${of(id)}/what-if`, { answers }, signal);
export const poses = (id, names, signal) => post(`${of(id)}/poses`, { poses: names }, signal);
export const fileOf = (id, name) => `${of(id)}/files/${encodeURIComponent(name)}`;

export const upload = (file) =>
  asked("/api/files", {
    method: "POST",
    headers: { "X-Token": token, "X-File-Name": encodeURIComponent(file.name), "Content-Type": "application/octet-stream" },
    body: file,
  });
