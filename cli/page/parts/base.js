// What every other script uses: the data, elements, and the state that all parts of the page share.

const DATA = JSON.parse(document.getElementById('data').textContent);
const SITES = DATA.sites;
const BY_ID = new Map(SITES.map((site) => [site.id, site]));
/** What is listed: works with their sites in the order of building, and sites that stand alone. */
const WORKS = DATA.works.map((work) => ({ ...work, sites: work.sites.map((id) => BY_ID.get(id)) }));
const ranksWorks = WORKS.length > 0 || SITES.some((site) => site.waits && site.waits.risk !== null);
const workOf = new Map(WORKS.flatMap((work) => work.sites.map((site) => [site.id, work])));
/** The site whose sign stands for its work: the last that is built, at a headcut the one that stops it. */
const leads = (site) => !workOf.has(site.id) || workOf.get(site.id).sites.at(-1) === site;
const SVG = 'http://www.w3.org/2000/svg';

/** Text of a number: every sentence of the page is kept once. */
const told = (number) => DATA.texts[number];

const byId = (id) => document.getElementById(id);

/** Set attributes and add children; text only ever becomes a text node, so that it stays text. */
function fill(element, attributes, kids) {
  for (const [name, value] of Object.entries(attributes || {})) {
    if (value === null || value === undefined || value === false) continue;
    if (name === 'on') {
      for (const [event, act] of Object.entries(value)) element.addEventListener(event, act);
    } else element.setAttribute(name, value === true ? '' : value);
  }
  for (const kid of kids) if (kid !== null && kid !== undefined) element.append(kid);
  return element;
}

/** An HTML element. */
const make = (tag, attributes, ...kids) => fill(document.createElement(tag), attributes, kids);

/** An element of a drawing. */
const draw = (tag, attributes, ...kids) => fill(document.createElementNS(SVG, tag), attributes, kids);

/** A text of the plan: it may be written from right to left. */
const said = (tag, text, attributes) => make(tag, { dir: 'auto', ...attributes }, text);

/** The sign of a kind of site as a small drawing, hidden from readers since words say the same. */
function sign(name, { size = 16, unsure = false, turn = 0 } = {}) {
  const shape = DATA.shapes[name] || DATA.shapes.refer;
  return draw(
    'svg',
    { viewBox: '-1.7 -1.7 3.4 3.4', width: size, height: size, class: 'sign', 'aria-hidden': 'true' },
    draw('path', {
      d: shape.path,
      transform: `rotate(${turn})`,
      fill: unsure ? '#FFFFFF' : shape.colour,
      stroke: shape.colour,
      'stroke-width': 0.16,
    }),
  );
}

/** What is chosen, pointed at and shown; whoever wants to know is called after a change. */
const state = { chosen: null, pointed: null, shown: SITES, watchers: [] };

const watch = (act) => state.watchers.push(act);

function change(what) {
  const before = { ...state };
  Object.assign(state, what);
  for (const act of state.watchers) act(before);
}

/** What a site is called by in the list: its rank, or its place among what waits. */
function rankWords(site) {
  if (site.rank) return `Rank ${site.rank}`;
  if (site.waits && site.waits.risk !== null) return `For an engineer, ${site.waits.risk} by what is at risk`;
  return 'On hold';
}

/** Rank of a site beside its sign. */
const markOf = (site) => (site.waits ? site.waits.mark : String(site.rank));

/** First site of the next or previous work among those shown. */
function neighbour(step) {
  const first = (site) => (workOf.has(site.id) ? workOf.get(site.id).sites[0] : site);
  const order = [...new Set(state.shown.map(first))].sort((a, b) => a.place - b.place);
  if (!order.length) return null;
  const chosen = BY_ID.get(state.chosen);
  const at = chosen ? order.indexOf(first(chosen)) : -1;
  if (at < 0) return order[step > 0 ? 0 : order.length - 1];
  return order[(at + step + order.length) % order.length];
}

/** A length in the plan's units, with the figures that a map can give. */
function length(metres, unit = DATA.unit) {
  let value = unit === 'ft' ? metres / 0.3048 : metres;
  let name = unit;
  if (unit === 'm' && value >= 1000) [value, name] = [value / 1000, 'km'];
  if (unit === 'ft' && value >= 5280) [value, name] = [value / 5280, 'miles'];
  const digits = name === 'm' || name === 'ft' ? (value < 10 ? 1 : 0) : 2;
  return `${value.toFixed(digits)} ${name}`;
}

/** Whether the page is so narrow that the sheet lies over it. */
const narrow = () => window.matchMedia('(max-width: 1000px)').matches;
