// Hands on the map: drag, wheel, two fingers, a click, and the keyboard.

const fingers = new Map();
let moved = 0;
let lastHit = { at: [0, 0], order: [], turn: 0 };

const tell = (text) => {
  byId('map-tell').textContent = text;
};

const pointOf = (event) => {
  const frame = mapSvg.getBoundingClientRect();
  return [event.clientX - frame.left, event.clientY - frame.top];
};

const apart = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);

/** Where a site's sign is drawn; from close up it stands beside what is built. */
function signAt(site) {
  const found = /translate\(([-\d.]+) ([-\d.]+)\)/.exec(
    marks.get(site.id).node.getAttribute('transform') || '',
  );
  return found ? [Number(found[1]), Number(found[2])] : toScreen(site.at);
}

/** Sites near a point of the screen, the nearest first. */
function sitesNear(point, reach) {
  return state.shown
    .filter((site) => marks.get(site.id).node.getAttribute('display') !== 'none')
    .map((site) => {
      const foot = view.scale >= CLOSE ? marks.get(site.id).footprint * view.scale : 0;
      const far = Math.min(
        apart(signAt(site), point),
        Math.max(apart(toScreen(site.at), point) - foot, 0) + 1,
      );
      return { site, far };
    })
    .filter((one) => one.far <= reach)
    .sort((a, b) => Math.round(a.far - b.far) || leads(b.site) - leads(a.site) || a.site.place - b.site.place)
    .map((one) => one.site);
}

/** Click or tap: the nearest site; where several lie on one spot, each click takes the next. */
function tap(point, reach) {
  const order = sitesNear(point, reach);
  if (!order.length) return;
  const same = apart(point, lastHit.at) < 6 && order.length > 1;
  lastHit = { at: point, turn: same ? lastHit.turn + 1 : 0 };
  const site = order[lastHit.turn % order.length];
  openSite(site.id, { from: mapSvg });
  const more = order.length > 1 ? ` ${order.length} sites lie here: click again for the next.` : '';
  tell(`${rankWords(site)}: ${site.what}.${more}`);
}

function handsOnMap() {
  mapSvg.addEventListener('pointerdown', (event) => {
    if (event.button) return;
    try {
      mapSvg.setPointerCapture(event.pointerId);
    } catch {
      /* a pointer that has gone already */
    }
    fingers.set(event.pointerId, pointOf(event));
    if (fingers.size === 1) moved = 0;
  });
  mapSvg.addEventListener('pointermove', (event) => {
    const point = pointOf(event);
    byId('place').textContent = placeWords(toGround(point));
    const before = fingers.get(event.pointerId);
    if (!before) {
      const near = event.pointerType === 'touch' ? null : sitesNear(point, 14)[0];
      if ((near ? near.id : null) !== state.pointed) change({ pointed: near ? near.id : null });
      stretchMeasure(toGround(point));
      return;
    }
    if (fingers.size === 2) {
      const other = [...fingers].find(([id]) => id !== event.pointerId)[1];
      const middle = (p) => [(p[0] + other[0]) / 2, (p[1] + other[1]) / 2];
      zoomAt(apart(point, other) / Math.max(apart(before, other), 1), middle(before));
      moveBy(middle(point)[0] - middle(before)[0], middle(point)[1] - middle(before)[1]);
      moved = 99;
    } else {
      moved += apart(point, before);
      if (moved > 4) moveBy(point[0] - before[0], point[1] - before[1]);
    }
    fingers.set(event.pointerId, point);
    redraw();
  });
  const up = (event) => {
    const was = fingers.delete(event.pointerId);
    if (!was || event.type === 'pointercancel' || moved > 4 || fingers.size) return;
    const point = pointOf(event);
    if (measuring()) addPoint(toGround(point));
    else tap(point, event.pointerType === 'touch' ? 26 : 14);
  };
  mapSvg.addEventListener('pointerup', up);
  mapSvg.addEventListener('pointercancel', up);
  mapSvg.addEventListener('pointerleave', () => {
    if (state.pointed) change({ pointed: null });
  });
  mapSvg.addEventListener(
    'wheel',
    (event) => {
      event.preventDefault();
      zoomAt(
        Math.exp((-Math.sign(event.deltaY) * Math.min(Math.abs(event.deltaY), 120)) / 400),
        pointOf(event),
      );
      redraw();
    },
    { passive: false },
  );
  mapSvg.addEventListener('keydown', keysOnMap);
  byId('zoom-in').addEventListener('click', () => zoomBy(1.6));
  byId('zoom-out').addEventListener('click', () => zoomBy(1 / 1.6));
  byId('zoom-all').addEventListener('click', () => {
    showAll();
    redraw();
  });
  byId('measure').addEventListener('click', () => setMeasuring(!measuring()));
}

function zoomBy(factor) {
  zoomAt(factor, [view.wide / 2, view.high / 2]);
  redraw();
}

/** Go to the next or previous rank without leaving the map. */
function step(by) {
  const site = neighbour(by);
  if (!site) return;
  openSite(site.id, { from: mapSvg, stay: true });
  tell(`${rankWords(site)}: ${site.what}.`);
}

const KEYS = {
  ArrowLeft: () => moveBy(70, 0),
  ArrowRight: () => moveBy(-70, 0),
  ArrowUp: () => moveBy(0, 70),
  ArrowDown: () => moveBy(0, -70),
  '+': () => zoomBy(1.6),
  '=': () => zoomBy(1.6),
  '-': () => zoomBy(1 / 1.6),
  0: showAll,
  n: () => step(1),
  p: () => step(-1),
  m: () => setMeasuring(!measuring()),
};

function keysOnMap(event) {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const middle = [view.wide / 2, view.high / 2];
  const act = KEYS[event.key] || KEYS[event.key.toLowerCase()];
  if (act) act();
  else if (event.key === 'Enter' || event.key === ' ') {
    if (measuring()) addPoint(toGround(middle));
    else {
      const site = sitesNear(middle, 40)[0] || BY_ID.get(state.chosen);
      if (site) openSite(site.id, { from: mapSvg });
      else tell('No site near the middle of the map.');
    }
  } else if (event.key === 'Backspace' && measuring()) dropPoint();
  else if (event.key === 'Escape' && measuring()) setMeasuring(false);
  else return;
  event.preventDefault();
  // Escape that ended measuring shall not also close the sheet.
  event.stopPropagation();
  byId('place').textContent = placeWords(toGround(middle));
  if (measuring()) stretchMeasure(toGround(middle));
  redraw();
}
