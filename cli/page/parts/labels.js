// Ranks beside their signs: moved where they would touch something, left out where they cannot move.

const ANGLES = [0, 180, 45, 315, 135, 225, 90, 270].map((turn) => (turn * Math.PI) / 180);
/** More ranks than this on one screen cannot be read; those of the highest ranks stay. */
const MOST_LABELS = 150;

const touches = (a, b) => a[0] < b[2] && a[2] > b[0] && a[1] < b[3] && a[3] > b[1];

/**
 * Find a place for each label.
 *
 * Each wanted label has the point it belongs to (x, y), the half size of the sign or structure
 * there, its own size, and how far off it may stand. Returns a centre or null for each, in order;
 * the first ones choose first.
 */
function placeApart(wanted, keepClear) {
  const taken = [...keepClear];
  return wanted.map((label, index) => {
    if (index >= MOST_LABELS) return null;
    for (const gap of label.gaps) {
      for (const turn of ANGLES) {
        const x = label.x + Math.cos(turn) * (label.half + gap + label.wide / 2);
        const y = label.y - Math.sin(turn) * (label.half + gap + label.high / 2);
        const box = [x - label.wide / 2, y - label.high / 2, x + label.wide / 2, y + label.high / 2];
        const inside = box[0] > 2 && box[1] > 2 && box[2] < view.wide - 2 && box[3] < view.high - 2;
        if (inside && !taken.some((other) => touches(box, other))) {
          taken.push(box);
          return [x, y];
        }
      }
    }
    return null;
  });
}

/** Boxes of the buttons and signs that lie over the map. */
function furniture() {
  // On paper only the north arrow and the scale are left, and no script learns where they stand.
  if (onScreenView)
    return [
      [view.wide - 54, 0, view.wide, 62],
      [0, view.high - 68, 190, view.high],
    ];
  const frame = byId('map').getBoundingClientRect();
  const boxes = [];
  for (const one of document.querySelectorAll('.tools, .north, .scale, .land .keys')) {
    const box = one.getBoundingClientRect();
    boxes.push([
      box.left - frame.left,
      box.top - frame.top,
      box.right - frame.left,
      box.bottom - frame.top,
    ]);
  }
  return boxes;
}
