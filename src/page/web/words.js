// How the contract's fields and values read. Units are fixed by the field's name.

let forms = { kinds: [], canals: [], units: [] };
/** Term → how it is written: "edta" → "EDTA". */
let written = new Map();
export function setForms(all) {
  forms = all;
  written = new Map(all.kinds.flatMap((k) => k.fields.flatMap((f) => f.words)));
}
export const kinds = () => forms.kinds;
export const canals = () => forms.canals;

export const kindOf = (name) => forms.kinds.find((k) => k.kind === name);
export const fieldOf = (kind, field) => kindOf(kind)?.fields.find((f) => f.name === field);

const plain = (word) => String(word).replaceAll('-', ' ').replaceAll('_', ' ');
const big = (word) => word.charAt(0).toUpperCase() + word.slice(1);

export const kindName = (kind) => big(plain(kind));

/** "volume_ml" → "volume". */
export function fieldName(field) {
  const ending = forms.units.find(([e]) => field.endsWith(e));
  return plain(ending ? field.slice(0, -ending[0].length) : field);
}

export function unitOf(field) {
  return forms.units.find(([e]) => field.endsWith(e))?.[1] ?? '';
}

/** "3 mL", "sodium hypochlorite". Null: was not said. */
export function valueText(field, value) {
  if (value === null || value === undefined) return 'not said';
  if (field === 'canal') return canalText(value);
  if (field === 'status') return statusText(value) || 'done';
  if (typeof value === 'number') return `${value}${unitOf(field) ? ` ${unitOf(field)}` : ''}`;
  if (Array.isArray(value)) return value.map((v) => valueText(field, v)).join(', ');
  if (typeof value === 'object') return Object.entries(value).map(([k, v]) => `${k} ${JSON.stringify(v)}`).join(', ');
  return /lot|text|tooth/.test(field) ? String(value) : written.get(value) ?? plain(value);
}

export function canalText(canal) {
  if (!canal) return '';
  if (canal === 'all') return 'all canals';
  if (canal === 'single') return 'single canal';
  return Array.isArray(canal) ? canal.join(', ') : canal;
}

export function statusText(status) {
  return { done: '', planned: 'planned', 'not-done': 'not done', conditional: 'only if', general: 'as a rule' }[status] ?? plain(status);
}

/** "1:04". */
export function clock(seconds, tenths = false) {
  const s = Math.max(0, seconds);
  const whole = tenths ? Math.floor(s * 10) / 10 : Math.floor(s);
  const h = Math.floor(whole / 3600);
  const m = Math.floor(whole / 60) % 60;
  const rest = (whole % 60).toFixed(tenths ? 1 : 0).padStart(tenths ? 4 : 2, '0');
  return h ? `${h}:${String(m).padStart(2, '0')}:${rest}` : `${m}:${rest}`;
}

/** "tooth 36, MB". */
export function place(entry) {
  const tooth = entry.tooth ? `tooth ${entry.tooth}` : 'no tooth named';
  return entry.canal ? `${tooth}, ${canalText(entry.canal)}` : tooth;
}

export const doubtsOf = (entry, field) => entry.doubts.filter((d) => d.field === field);
export const carried = (entry, field) => entry.carried.includes(field);

/** Nobody has settled it. */
export const isOpen = (entry) => entry.doubts.length > 0 || entry.review === 'unseen';

/** State of an entry in one word and a sign that is no colour. */
export function reviewText(entry) {
  if (entry.review === 'struck') return ['✕', 'struck'];
  if (entry.cannot_tell) return ['?', 'could not be told'];
  if (entry.doubts.length) return ['?', 'to look at'];
  if (entry.review === 'amended') return ['✎', 'corrected'];
  if (entry.review === 'confirmed') return ['✓', 'accepted'];
  return ['·', 'not seen'];
}

/** "Irrigation", "Anaesthesia (not done)", "Tooth (struck)": never a kind without what makes it no deed. */
export function whatText(entry) {
  const notes = [statusText(entry.status), entry.review === 'struck' && 'struck'].filter(Boolean);
  return notes.length ? `${kindName(entry.kind)} (${notes.join(', ')})` : kindName(entry.kind);
}

/** "volume 3 mL, sodium hypochlorite". */
export function summary(entry) {
  return Object.entries(entry.values)
    .map(([f, v]) => (typeof v === 'number' ? `${fieldName(f)} ${valueText(f, v)}` : valueText(f, v)))
    .join(', ');
}

export function when(at) {
  const date = new Date(at);
  return Number.isNaN(date.getTime()) ? at : date.toLocaleString(undefined, { dateStyle: 'medium', timeStyle: 'short' });
}

export function many(n, one, more) {
  return `${n} ${n === 1 ? one : more}`;
}
