/**
 * A page that scrolls by itself while something is dragged to the window's upper or lower edge.
 */

// So near to the edge it begins, and there or beyond it is as fast as it gets.
const ZONE_PX = 72;
const FASTEST_PX_PER_MS = 1.6;

/** @returns {{at: (y: number) => void, stop: () => void}} `at`: where the pointer is, in the window */
export function edgeScroll() {
  let pace = 0;
  let frame = 0;
  /** @param {number} now @param {number} last */
  const step = (now, last) => {
    // A page that was busy for long doesn't jump.
    scrollBy({ top: pace * Math.min(now - last, 50), behavior: "instant" });
    frame = requestAnimationFrame((next) => step(next, now));
  };
  const stop = () => { cancelAnimationFrame(frame); frame = 0; };
  return {
    at(y) {
      const deep = Math.max(0, ZONE_PX - y) - Math.max(0, y - (innerHeight - ZONE_PX));
      pace = -Math.max(-1, Math.min(1, deep / ZONE_PX)) * FASTEST_PX_PER_MS;
      if (!pace) stop();
      else if (!frame) frame = requestAnimationFrame((now) => { frame = requestAnimationFrame((next) => step(next, now)); });
    },
    stop,
  };
}
