// Measuring: click from point to point; the length is told in both systems.

const measure = { on: false, points: [], end: null };

const measuring = () => measure.on;

function setMeasuring(on) {
  Object.assign(measure, { on, points: [], end: null });
  byId('measure').setAttribute('aria-pressed', String(on));
  mapSvg.classList.toggle('measuring', on);
  tell(on ? 'Click from point to point, or move with the arrows and press Enter. Escape ends.' : '');
  redraw();
}

function addPoint(place) {
  measure.points.push(place);
  measure.end = place;
  sayLength();
  redraw();
}

function dropPoint() {
  measure.points.pop();
  sayLength();
  redraw();
}

/** Lead the open end of the line to where the hand is. */
function stretchMeasure(place) {
  if (!measure.on || !measure.points.length) return;
  measure.end = place;
  redraw();
}

function lengthOf(points) {
  let sum = 0;
  for (let i = 1; i < points.length; i += 1) {
    sum += Math.hypot(points[i][0] - points[i - 1][0], points[i][1] - points[i - 1][1]);
  }
  return sum;
}

const bothWays = (metres) => `${length(metres, 'm')} (${length(metres, 'ft')})`;

function sayLength() {
  const { points } = measure;
  if (points.length < 2) tell(points.length ? 'First point set.' : 'No point set.');
  else tell(`Distance ${bothWays(lengthOf(points))}, level on the map.`);
}

function drawMeasure() {
  const group = byId('measured');
  group.replaceChildren();
  if (!measure.on || !measure.points.length) return;
  const points = measure.end ? [...measure.points, measure.end] : measure.points;
  const screen = points.map(toScreen);
  const line = screen.map((p) => p.map((v) => v.toFixed(1)).join(' ')).join('L');
  group.append(
    draw('path', { class: 'tape-edge', d: `M${line}` }),
    draw('path', { class: 'tape', d: `M${line}` }),
  );
  for (const [x, y] of screen) group.append(draw('circle', { cx: x, cy: y, r: 3.5, class: 'peg' }));
  if (points.length < 2) return;
  const [x, y] = screen[screen.length - 1];
  const right = x > view.wide - 150;
  const words = draw('text', { x: right ? x - 10 : x + 10, y: Math.max(y - 8, 16), class: 'tape-words' });
  words.setAttribute('text-anchor', right ? 'end' : 'start');
  words.append(bothWays(lengthOf(points)));
  group.append(words);
}
