// How large a figure must be to be read from afar, and how large this screen can make it. Pure functions.

/** Preferred angle of a figure's height: 20 arc minutes (ISO 9241-303; NUREG-0700 has 16 as the least). */
export const ARC_MINUTES = 20;

/** Height in CSS pixels of a figure that is read at `metres`; a phone's CSS pixel is about 0.16 mm (1/160 inch). */
export function heightPx(metres, pixelMm = 0.15875, arcMinutes = ARC_MINUTES) {
  return (metres * 1000 * Math.tan((arcMinutes / 60) * (Math.PI / 180))) / pixelMm;
}

/** From how many metres a figure of that height is read. */
export function metresFor(px, pixelMm = 0.15875, arcMinutes = ARC_MINUTES) {
  return (px * pixelMm) / 1000 / Math.tan((arcMinutes / 60) * (Math.PI / 180));
}

/** Figures may be squeezed to this share of their width before they grow hard to tell apart. By eye, no source. */
const MOST_SQUEEZED = 0.62;

/**
 * Fill a box with a text whose glyphs are `inkHeight` high and `inkWidth` wide at a size of 100 px: {size, squeeze}, the
 * font size in px and the share of the natural width. Height is what is read from afar, so width gives way first.
 */
export function fit({ inkHeight, inkWidth }, { width, height }) {
  const tallest = (100 * height) / inkHeight;
  const natural = (inkWidth * tallest) / 100;
  const squeeze = Math.min(1, Math.max(MOST_SQUEEZED, width / natural));
  const size = Math.min(tallest, (100 * width) / (inkWidth * squeeze));
  return { size, squeeze };
}
