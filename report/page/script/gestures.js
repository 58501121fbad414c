// Presses of a mouse, a pen or fingers, told apart.

const DRAG = 4; // pixels from which a press is a drag
const APART = 8; // pixels that two fingers must be apart to pinch

// press tells a click from a drag and a pinch. It calls clicked with the
// event, dragged with the event and the one before, pinched with how many
// times closer the fingers came and the event of the one that rests.
export function press(element, { clicked, dragged, pinched = () => {} }) {
  const held = new Map();
  let moved = false;
  element.addEventListener('pointerdown', (e) => {
    if (e.button > 0) return;
    held.set(e.pointerId, e);
    moved = held.size > 1;
  });
  element.addEventListener('pointermove', (e) => {
    const before = held.get(e.pointerId);
    if (!before) return;
    if (!moved && Math.abs(e.clientX - before.clientX) < DRAG) return;
    if (!moved) element.setPointerCapture(e.pointerId);
    moved = true;
    if (held.size === 2) pinch(held, e, pinched);
    else dragged(e, before);
    held.set(e.pointerId, e);
  });
  const end = (e) => {
    if (held.delete(e.pointerId) && !moved && e.type === 'pointerup') clicked(e);
  };
  element.addEventListener('pointerup', end);
  element.addEventListener('pointercancel', end);
}

function pinch(held, e, pinched) {
  const other = [...held.values()].find((finger) => finger.pointerId !== e.pointerId);
  const was = Math.abs(held.get(e.pointerId).clientX - other.clientX);
  const is = Math.abs(e.clientX - other.clientX);
  if (was > APART && is > APART) pinched(was / is, other);
}
