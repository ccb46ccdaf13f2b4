// Where the map looks: metres from the page's corner to pixels and back.

const view = {
  wide: 600,
  high: 400,
  scale: 1, // pixels a metre
  west: 0,
  north: 0,
  least: 0.01,
  most: 80,
};
/** The view as it was on the screen, while it is printed. */
let onScreenView = null;

const toScreen = ([x, y]) => [(x - view.west) * view.scale, (view.north - y) * view.scale];
const toGround = ([x, y]) => [view.west + x / view.scale, view.north - y / view.scale];

/** Show a box of west, south, east and north, m, whole. */
function showBox([west, south, east, north]) {
  const scale = Math.min(view.wide / Math.max(east - west, 1), view.high / Math.max(north - south, 1));
  view.scale = Math.min(Math.max(scale, view.least), view.most);
  centreOn([(west + east) / 2, (south + north) / 2]);
}

/** Put a place at a point of the screen, by default its middle. */
function centreOn([x, y], at = [view.wide / 2, view.high / 2]) {
  view.west = x - at[0] / view.scale;
  view.north = y + at[1] / view.scale;
  holdOn();
}

/** Everything that the page has. */
function showAll() {
  const [wide, high] = DATA.map.size;
  view.least = 0.6 * Math.min(view.wide / wide, view.high / high);
  showBox([0, 0, wide, high]);
}

/** Look closer or from farther off while a point of the screen keeps its place. */
function zoomAt(factor, point) {
  const place = toGround(point);
  view.scale = Math.min(Math.max(view.scale * factor, view.least), view.most);
  centreOn(place, point);
}

function moveBy(dx, dy) {
  view.west -= dx / view.scale;
  view.north += dy / view.scale;
  holdOn();
}

/** The middle of the screen stays on the map, so that nobody gets lost. */
function holdOn() {
  const [wide, high] = DATA.map.size;
  const half = [view.wide / 2 / view.scale, view.high / 2 / view.scale];
  view.west = Math.min(Math.max(view.west, -half[0]), wide - half[0]);
  view.north = Math.min(Math.max(view.north, half[1]), high + half[1]);
}

/** Longitude and latitude of a place, between the points of a grid that came with the page. */
function degreesAt([x, y]) {
  const grid = DATA.map.degrees;
  if (!grid) return null;
  const [wide, high] = DATA.map.size;
  const last = grid.n - 1;
  const at = (v, most) => Math.min(Math.max((v / most) * last, -1), grid.n);
  const [u, v] = [at(x, wide), at(y, high)];
  const [i, j] = [u, v].map((w) => Math.min(Math.max(Math.floor(w), 0), last - 1));
  const [a, b] = [u - i, v - j];
  const mix = (values) => {
    const value = (row, column) => values[row * grid.n + column];
    const low = value(j, i) * (1 - a) + value(j, i + 1) * a;
    const top = value(j + 1, i) * (1 - a) + value(j + 1, i + 1) * a;
    return low * (1 - b) + top * b;
  };
  return [mix(grid.lon), mix(grid.lat)];
}

/** A place in words: degrees, and metres in the plan's own coordinate system. */
function placeWords(place) {
  const [x, y] = [DATA.map.corner[0] + place[0], DATA.map.corner[1] + place[1]];
  const found = degreesAt(place);
  const grid = `${x.toFixed(1)} east, ${y.toFixed(1)} north, m`;
  if (!found) return grid;
  const side = (value, more, less) => `${Math.abs(value).toFixed(5)}\u00B0 ${value < 0 ? less : more}`;
  return `${side(found[1], 'N', 'S')}, ${side(found[0], 'E', 'W')}  \u00B7  ${grid}`;
}
