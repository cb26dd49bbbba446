// The way to the page's server: the token, requests, and the live state.
// The token comes behind the # of the address once, and is kept for this tab only.

const KEPT = "emberbed-token";
const RETRY_MS = [300, 500, 1000, 2000];
const SILENT_MS = 3000; // the server gives a sign of life every second

export class Failure extends Error {
  constructor(sentences, status) {
    super(sentences.join(" "));
    this.sentences = sentences;
    this.status = status;
  }
}

export function takeToken() {
  const given = location.hash.slice(1);
  if (/^[0-9a-f]{32}$/.test(given)) {
    keepToken(given);
    history.replaceState(null, "", "/#/bench");
  }
}

export function keepToken(token) {
  sessionStorage.setItem(KEPT, token);
}

function token() {
  return sessionStorage.getItem(KEPT) ?? "";
}

export const get = (path) => ask(path, { method: "GET" });

export const post = (path, body = {}) =>
  ask(path, { method: "POST", body: JSON.stringify(body) }, { "content-type": "application/json" });

export const postPhoto = (path, file) => ask(path, { method: "POST", body: file }, { "content-type": file.type });

export async function block(path) {
  return new Float32Array(await (await answer(path, { method: "GET" })).arrayBuffer());
}

async function ask(path, how, headers = {}) {
  return (await answer(path, how, headers)).json();
}

async function answer(path, how, headers = {}) {
  let response;
  try {
    response = await fetch(path, { ...how, headers: { ...headers, "x-emberbed-token": token() } });
  } catch {
    throw new Failure([], 0); // whoever asks knows what to say when the server is gone
  }
  if (response.ok) return response;
  const said = await response.json().catch(() => ({}));
  throw new Failure(said.sentences ?? [said.sentence ?? response.statusText], response.status);
}

// Calls onMoment with every message, onQuiet(seconds) while none comes; connects again by itself.
export class Live {
  constructor(onMoment, onQuiet) {
    this.onMoment = onMoment;
    this.onQuiet = onQuiet;
    this.tries = 0;
    this.heard = performance.now();
    this.connect();
    setInterval(() => this.watch(), 500);
  }

  connect() {
    const socket = new WebSocket(`ws://${location.host}/api/live`, ["emberbed", `token-${token()}`]);
    this.socket = socket;
    socket.onmessage = (event) => {
      this.tries = 0;
      this.heard = performance.now();
      this.onMoment(JSON.parse(event.data));
    };
    socket.onclose = () => {
      if (this.socket !== socket) return;
      const wait = RETRY_MS[Math.min(this.tries++, RETRY_MS.length - 1)];
      setTimeout(() => this.connect(), wait);
    };
  }

  watch() {
    const quiet = performance.now() - this.heard;
    if (quiet <= SILENT_MS) return;
    this.onQuiet(quiet / 1000);
    if (this.socket.readyState === WebSocket.OPEN && quiet > 2 * SILENT_MS) this.socket.close();
  }
}
