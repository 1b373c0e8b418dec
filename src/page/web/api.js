// Talks with the program. The session is kept for this tab only; a reload keeps it, another tab needs a new address.

let session = sessionStorage.getItem('session');
let key = sessionStorage.getItem('key');
export const me = JSON.parse(sessionStorage.getItem('me') ?? '{"who":"","desk":false}');

export class Refused extends Error {
  constructor(status, sentence) {
    super(sentence);
    this.status = status;
  }
}

/** Exchanges the one-time token of the address, and takes it out of the address. */
export async function enter() {
  const token = new URLSearchParams(location.hash.slice(1)).get('t');
  if (token) {
    history.replaceState(null, '', '/');
    const granted = await ask('POST', '/session', { token });
    ({ session, key } = granted);
    Object.assign(me, { who: granted.who, desk: granted.desk });
    sessionStorage.setItem('session', session);
    sessionStorage.setItem('key', key);
    sessionStorage.setItem('me', JSON.stringify(me));
  }
  return Boolean(session);
}

/** One request. Throws `Refused` with the program's sentence; status 0: the program does not answer. */
export async function ask(method, path, body) {
  const headers = {};
  if (session) headers['x-tugback-session'] = session;
  if (body !== undefined) headers['content-type'] = 'application/json';
  let answer;
  try {
    answer = await fetch(path, { method, headers, body: body === undefined ? undefined : JSON.stringify(body) });
  } catch {
    throw new Refused(0, 'The program does not answer; it may have closed by itself. Start it again: all that was decided is saved.');
  }
  if (answer.status === 204) return null;
  const type = answer.headers.get('content-type') ?? '';
  const content = type.includes('json') ? await answer.json() : await answer.arrayBuffer();
  if (!answer.ok) throw new Refused(answer.status, content.sentence ?? `The program refused that (${answer.status}).`);
  return answer.status === 202 ? null : content;
}

export const get = (path) => ask('GET', path);
export const post = (path, body = {}) => ask('POST', path, body);

/** The address of sound, a picture or an export, with the key that reads and never writes. */
export function media(path, more = '') {
  return `${path}?k=${key}${more}`;
}
