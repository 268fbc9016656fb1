// Where a place on the screen points to: a ray from the eye.
import * as THREE from "three";

export function aim(caster, canvas, eye, clientX, clientY) {
  const box = canvas.getBoundingClientRect();
  const at = new THREE.Vector2(
    ((clientX - box.left) / box.width) * 2 - 1,
    1 - ((clientY - box.top) / box.height) * 2,
  );
  // The eye may have moved since the last picture was drawn.
  eye.updateMatrixWorld();
  caster.setFromCamera(at, eye);
}
