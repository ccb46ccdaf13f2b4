// Puts the page together and keeps it fitting when its size changes or it is printed.

function buildSigns() {
  const line = (kind, words) =>
    make(
      'li',
      {},
      draw(
        'svg',
        { viewBox: '0 0 26 14', width: 26, height: 14, 'aria-hidden': 'true', class: 'swatch' },
        ...(kind === 'road' ? [draw('path', { class: 'road-edge', d: 'M1 7H25' })] : []),
        draw('path', {
          class: kind,
          d: kind === 'pool' || kind === 'wedge' || kind === 'area shown' ? 'M2 2H24V12H2Z' : 'M1 7H25',
        }),
      ),
      words,
    );
  const has = (name) => DATA.map[name].length > 0;
  const shapes = Object.keys(DATA.shapes).filter((name) => SITES.some((s) => s.shape === name));
  const items = shapes.map((name) => make('li', {}, sign(name), DATA.shapes[name].label));
  if (SITES.some((s) => s.unsure))
    items.push(make('li', {}, sign(shapes[0], { unsure: true }), 'Outline only: less than half sure'));
  if (has('headcuts')) items.push(make('li', {}, sign('headcut'), DATA.shapes.headcut.label));
  if (has('channels')) items.push(line('channel', 'Channel, wider where more land drains'));
  if (DATA.map.channels.some((c) => !c.whole))
    items.push(line('channel cut', 'Channel whose land is not all on the raster'));
  if (has('gullies')) items.push(line('gully', 'Gully'));
  if (DATA.map.pools.some((p) => p.kind === 'pool')) items.push(line('pool', 'Still pool'));
  if (DATA.map.pools.some((p) => p.kind === 'wedge')) items.push(line('wedge', 'Sediment that fills in'));
  if (SITES.length) items.push(line('area shown', 'Land that drains to the chosen site'));
  if (has('looks')) items.push(line('look', 'L: may be filling again, look first'));
  if (has('roads')) items.push(line('road', 'Road'));
  if (has('ranch')) items.push(line('ranch', 'Ranch boundary'));
  byId('signs').append(...items);
}

/** Size of the map on paper, pixels: the printed page has one of its own, which no script learns. */
const ON_PAPER = [700, 567];

/** Take the size of the map's box; the middle of the view stays where it was. */
function fitMap() {
  const box = mapSvg.getBoundingClientRect();
  if (onScreenView || !box.width || !box.height) return;
  setSize([box.width, box.height]);
  redraw();
}

function setSize([wide, high]) {
  const middle = toGround([view.wide / 2, view.high / 2]);
  [view.wide, view.high] = [wide, high];
  centreOn(middle);
}

function start() {
  const title = byId('title');
  title.textContent = DATA.title;
  byId('line').textContent = DATA.line;
  byId('to-ranch').addEventListener('click', () => {
    if (state.chosen !== null) closeSite();
    showAll();
    redraw();
    sheetBox.querySelector('h2').focus();
  });
  buildSigns();
  // On a small screen the map itself comes first.
  byId('key').open = !narrow();
  buildMap();
  buildList();
  showRanch();
  const box = mapSvg.getBoundingClientRect();
  [view.wide, view.high] = [box.width || 600, box.height || 400];
  showAll();
  drawMap();
  handsOnMap();
  watch(redraw);
  watch((before) => {
    if (before.pointed !== state.pointed && document.activeElement === mapSvg) revealRow(state.pointed);
  });
  new ResizeObserver(fitMap).observe(mapSvg);
  let wide = sheetBox.clientWidth;
  new ResizeObserver(() => {
    if (sheetBox.clientWidth === wide) return;
    wide = sheetBox.clientWidth;
    if (state.chosen !== null) drawSketches(BY_ID.get(state.chosen));
  }).observe(sheetBox);
  document.addEventListener('keydown', (event) => {
    if (event.key === 'Escape' && state.chosen !== null) closeSite();
  });
  // On paper everything that is folded lies open, and the map is drawn once more at its size there.
  let folded = [];
  window.addEventListener('beforeprint', () => {
    folded = [...document.querySelectorAll('details:not([open])')];
    for (const one of folded) one.open = true;
    onScreenView = { ...view };
    const [west, north] = toGround([0, 0]);
    const [east, south] = toGround([view.wide, view.high]);
    setSize(ON_PAPER);
    showBox([west, south, east, north]);
    drawMap();
  });
  window.addEventListener('afterprint', () => {
    for (const one of folded) one.open = false;
    Object.assign(view, onScreenView);
    onScreenView = null;
    fitMap();
  });
}

start();
