// The map: ground, lines and areas in metres below, signs of constant size above.

const SIGN = 7.5; // pixels to one unit of a sign's box
const INSIDE = 1.5; // pixels a metre from which all sites of a work are drawn
const CLOSE = 7; // pixels a metre from which structures are seen to scale
const mapSvg = byId('map');
const ground = draw('g', { class: 'ground' });
const above = draw('g', { class: 'above' });
const marks = new Map();
const leadLines = draw('g', {});
const heads = [];
const lookMarks = [];

const ring = (flat, closed) => {
  let path = '';
  for (let i = 0; i < flat.length; i += 2) path += `${i ? 'L' : 'M'}${flat[i]} ${flat[i + 1]}`;
  return closed && path ? `${path}Z` : path;
};
const rings = (lines, closed = true) => lines.map((flat) => ring(flat, closed)).join('');

function buildMap() {
  const map = DATA.map;
  if (map.relief) {
    const [west, south, east, north] = map.relief.box;
    const image = draw('image', {
      x: west,
      y: 0,
      width: east - west,
      height: north - south,
      preserveAspectRatio: 'none',
      transform: `matrix(1 0 0 -1 0 ${north})`,
    });
    image.setAttribute('href', map.relief.address);
    ground.append(image);
  }
  ground.append(draw('path', { class: 'area', id: 'area' }));
  for (const one of map.gullies) ground.append(draw('path', { class: 'gully', d: rings(one) }));
  for (const one of map.pools) ground.append(draw('path', { class: one.kind, d: rings(one.at) }));
  for (const one of map.channels) {
    ground.append(
      draw('path', {
        class: one.whole ? 'channel' : 'channel cut',
        'stroke-width': one.wide,
        d: rings(one.at, false),
      }),
    );
  }
  for (const part of ['road-edge', 'road']) {
    ground.append(draw('path', { class: part, d: rings(map.roads, false) }));
  }
  for (const one of map.structures) {
    ground.append(
      draw('path', {
        class: one.body ? 'body' : 'part',
        fill: (DATA.shapes[one.shape] || DATA.shapes.refer).colour,
        d: rings(one.at),
      }),
    );
  }
  ground.append(draw('path', { class: 'ranch', d: rings(map.ranch) }));
  for (const one of map.headcuts) heads.push({ ...one, node: signOf('headcut', one.turn, !one.sure) });
  for (const one of map.looks) {
    ground.append(draw('path', { class: 'look', d: rings(one.line, false) }));
    lookMarks.push({ ...one, rank: draw('g', { class: 'rank' }, draw('text', {}, one.mark)) });
  }
  for (const one of heads) above.append(one.node);
  above.append(leadLines);
  // The highest ranks are drawn last and so lie on top.
  for (const site of [...inOrder()].reverse()) {
    const node = signOf(site.shape, site.turn, site.unsure);
    node.setAttribute('data-site', site.id);
    const rank = draw('g', { class: 'rank' }, draw('text', {}, leads(site) ? markOf(site) : ''));
    const lead = draw('g', { class: 'lead' }, draw('line', {}), draw('circle', { r: 2.2 }));
    leadLines.append(lead);
    above.append(node);
    marks.set(site.id, { node, rank, lead, footprint: 0 });
  }
  for (const { rank } of [...lookMarks, ...marks.values()]) above.append(rank);
  for (const one of map.structures) {
    const mark = marks.get(one.site);
    const site = BY_ID.get(one.site);
    if (!mark) continue;
    for (const flat of one.at) {
      for (let i = 0; i < flat.length; i += 2) {
        const far = Math.hypot(flat[i] - site.at[0], flat[i + 1] - site.at[1]);
        mark.footprint = Math.max(mark.footprint, far);
      }
    }
  }
  above.prepend(
    draw('circle', { class: 'ring pointed', r: 15 }),
    draw('circle', { class: 'ring chosen', r: 17 }),
  );
  above.append(draw('path', { class: 'cross', d: 'M-9 0H9M0 -9V9' }));
  mapSvg.append(ground, draw('g', { id: 'measured' }), above);
}

/** Sites in the order in which they take their place: those that stand for a work first. */
const inOrder = () => [...SITES.filter(leads), ...SITES.filter((site) => !leads(site))];

/** Whether a site inside a work is drawn: from closer by, or once its work is chosen. */
const isInside = (site) =>
  leads(site) || view.scale >= INSIDE || (workOf.get(site.id).sites.some((s) => s.id === state.chosen));

/** A sign with its white halo. */
function signOf(name, turn, unsure) {
  const shape = DATA.shapes[name] || DATA.shapes.refer;
  const inner = { d: shape.path, transform: `rotate(${turn}) scale(${SIGN})` };
  return draw(
    'g',
    { class: 'mark' },
    draw('path', { ...inner, class: 'halo' }),
    draw('path', {
      ...inner,
      fill: unsure ? '#FFFFFF' : shape.colour,
      stroke: shape.colour,
      class: 'face',
    }),
  );
}

const onScreen = ([x, y]) => x > -30 && y > -30 && x < view.wide + 30 && y < view.high + 30;
const at = ([x, y]) => `translate(${x.toFixed(1)} ${y.toFixed(1)})`;

let waiting = false;

/** Draw before the next picture; several calls draw once. */
function redraw() {
  if (waiting) return;
  waiting = true;
  requestAnimationFrame(() => {
    waiting = false;
    drawMap();
  });
}

function drawMap() {
  const { scale, west, north } = view;
  mapSvg.setAttribute('viewBox', `0 0 ${view.wide} ${view.high}`);
  ground.setAttribute('transform', `matrix(${scale} 0 0 ${-scale} ${-west * scale} ${north * scale})`);
  ground.classList.toggle('far', scale < 1.5);
  for (const one of heads) {
    const point = toScreen(one.at);
    one.node.setAttribute('display', onScreen(point) ? 'inline' : 'none');
    one.node.setAttribute('transform', at(point));
  }
  drawMarks();
  drawRings();
  drawMeasure();
  drawScale();
}

/**
 * Signs and ranks, and the marks of reaches to look at first beside their lines.
 *
 * A work has one rank and, from far, one sign; its other sites are drawn without a number.
 * A sign stands on its place with the rank beside it. Where a sign of higher rank is there already,
 * and from close up, where it would hide what is built, sign and rank stand aside together and a
 * thin line leads to the place.
 */
function drawMarks() {
  const shown = new Set(state.shown);
  const close = view.scale >= CLOSE;
  const boxes = furniture();
  const inPlace = [];
  const wanted = [];
  let hidden = 0;
  for (const site of inOrder()) {
    const mark = marks.get(site.id);
    const [x, y] = toScreen(site.at);
    const seen = shown.has(site) && isInside(site) && onScreen([x, y]);
    for (const one of [mark.node, mark.rank, mark.lead]) one.setAttribute('display', 'none');
    if (!seen) continue;
    mark.node.setAttribute('display', 'inline');
    mark.node.setAttribute('transform', at([x, y]));
    const foot = close ? mark.footprint : 0;
    const aside = foot > 0 || inPlace.some(([a, b]) => Math.abs(a - x) < 17 && Math.abs(b - y) < 13);
    if (foot > 0) {
      const half = Math.min(foot * view.scale * 0.7, 90);
      boxes.push([x - half / 2, y - half / 2, x + half / 2, y + half / 2]);
    } else if (!aside) {
      inPlace.push([x, y]);
      boxes.push([x - 10, y - 8, x + 10, y + 8]);
    }
    const letters = leads(site) ? 7.4 * markOf(site).length + 4 : 0;
    wanted.push({
      site,
      mark,
      aside,
      x,
      y,
      half: foot > 0 ? Math.min(foot * view.scale * 0.7, 90) : SIGN + 2,
      wide: letters + (aside ? 25 : 0),
      high: aside ? 18 : 14,
      gaps: aside ? [2, 10, 20, 32, 46, ...(foot > 0 ? [64, 90] : [])] : [0, 4, 9],
    });
  }
  for (const look of lookMarks) {
    const [x, y] = toScreen(look.at);
    look.rank.setAttribute('display', 'none');
    const wide = 7.4 * look.mark.length + 4;
    const label = { mark: look, aside: false, x, y, half: 2, wide, high: 14, gaps: [0, 6, 14, 24] };
    if (onScreen([x, y])) wanted.push(label);
  }
  // Signs in their place first: whoever has to move can still find room farther off.
  wanted.sort((a, b) => a.aside - b.aside);
  placeApart(wanted, boxes).forEach((centre, i) => {
    if (centre) setAside(wanted[i], centre);
    // A sign of lower rank that found no room stays hidden until the map is closer.
    else if (wanted[i].aside && !close && wanted[i].site.id !== state.chosen) {
      wanted[i].mark.node.setAttribute('display', 'none');
      hidden += 1;
    }
  });
  const signs = hidden === 1 ? '1 sign has' : `${hidden} signs have`;
  byId('waiting').textContent = hidden ? `(${signs} no room: look closer)` : '';
}

/** Put a rank where there is room for it, with its sign and a line where that had to move. */
function setAside({ mark, aside, x, y, wide }, centre) {
  const text = mark.rank.firstChild;
  mark.rank.setAttribute('display', 'inline');
  text.setAttribute('x', (aside ? centre[0] + 12 : centre[0]).toFixed(1));
  text.setAttribute('y', (centre[1] + 4.5).toFixed(1));
  if (!aside) return;
  const place = [centre[0] - wide / 2 + 11, centre[1]];
  mark.node.setAttribute('transform', at(place));
  mark.lead.setAttribute('display', 'inline');
  const [line, dot] = mark.lead.children;
  for (const [name, value] of [
    ['x1', x],
    ['y1', y],
    ['x2', place[0]],
    ['y2', place[1]],
  ]) {
    line.setAttribute(name, value.toFixed(1));
  }
  dot.setAttribute('transform', at([x, y]));
}

/** Rings about the site that is chosen and the one that is pointed at, and the chosen one's area. */
function drawRings() {
  for (const [name, id] of [
    ['chosen', state.chosen],
    ['pointed', state.pointed],
  ]) {
    const node = above.querySelector(`.ring.${name}`);
    const site = BY_ID.get(id);
    node.setAttribute('display', site ? 'inline' : 'none');
    if (!site) continue;
    const mark = marks.get(id);
    const big = view.scale >= CLOSE ? mark.footprint * view.scale + 6 : 0;
    node.setAttribute('r', Math.max(name === 'chosen' ? 16 : 13, big).toFixed(1));
    node.setAttribute('transform', at(toScreen(site.at)));
  }
  const area = DATA.map.areas[String(state.chosen)];
  byId('area').setAttribute('d', area ? rings(area) : '');
  above.querySelector('.cross').setAttribute('transform', at([view.wide / 2, view.high / 2]));
}

/** The longest round length below so many metres. */
function roundLength(longest) {
  const power = 10 ** Math.floor(Math.log10(longest));
  return [5, 2, 1].map((m) => m * power).find((v) => v <= longest * 1.000001) || power;
}

/** Scale bar in both systems: metres above, feet or miles below. */
function drawScale() {
  const room = Math.min(170, view.wide * 0.36);
  const metres = roundLength(room / view.scale);
  const mile = room / view.scale > 1609.344;
  const foot = mile ? 1609.344 : 0.3048;
  const feet = roundLength(room / view.scale / foot);
  const [a, b] = [metres * view.scale, feet * foot * view.scale];
  const words = [
    metres >= 1000 ? `${metres / 1000} km` : `${metres} m`,
    `${feet} ${mile ? 'miles' : 'ft'}`,
  ];
  const wide = Math.max(a, b) + 4;
  const bar = draw('svg', {
    viewBox: `0 0 ${wide + 6} 44`,
    width: wide + 6,
    height: 44,
    role: 'img',
    'aria-label': `Scale: this bar is ${words[0]}, the lower one ${words[1]}`,
  });
  bar.append(
    draw('path', { d: `M2 16V22H${2 + a}V16M2 28V22H${2 + b}V28`, class: 'bar' }),
    draw('text', { x: 5, y: 13 }, words[0]),
    draw('text', { x: 5, y: 39 }, words[1]),
  );
  byId('scale').replaceChildren(bar);
}
