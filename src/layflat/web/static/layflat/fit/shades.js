// Film as it is drawn in 3D: strain by the colours that the surface bears with contours and hatching
// as on the printed map, and effort by patterns. See docs/look.md.
import * as THREE from "three";

// Sides facing away are a little darker, so that the shape is seen; colours stay near the scale's.
const SHAPE = `
  float shape() {
    return 0.74 + 0.26 * abs(normalize(vNormal).z);
  }`;

const STRAIN_VERTEX = `
  attribute vec4 shade;
  attribute vec2 ratio;
  attribute vec2 onMap;
  varying vec3 vNormal;
  varying vec3 vShade;
  varying vec2 vRatio;
  varying vec2 vOnMap;
  void main() {
    vNormal = normalMatrix * normal;
    vShade = shade.rgb;
    vRatio = ratio;
    vOnMap = onMap;
    gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
  }`;

// Contours at half the limit, at one and a half, and strong at the limit; broken for compression.
const STRAIN_FRAGMENT = `
  uniform vec3 ink;
  varying vec3 vNormal;
  varying vec3 vShade;
  varying vec2 vRatio;
  varying vec2 vOnMap;
  ${SHAPE}
  float line(float off, float width) {
    return clamp(0.5 * (max(width, 1.0) + 1.0) - off, 0.0, 1.0);
  }
  float offMultiples(float value, float step) {
    return abs(value - step * floor(value / step + 0.5));
  }
  float contour(float value, float level, float width) {
    return line(abs(value - level) / max(fwidth(value), 1e-6), width);
  }
  float strokes(float value, bool rises, float across, float other) {
    float drawn = max(0.45 * contour(value, 0.5, 1.0), 0.7 * contour(value, 1.5, 1.0));
    drawn = max(drawn, contour(value, 1.0, 2.6));
    if (!rises) {
      float wide = fwidth(other);
      drawn *= max(
        line(offMultiples(other, 2.6) / wide, 1.3 / wide),
        0.2 * line(offMultiples(across, 2.6) / fwidth(across), 0.4 / fwidth(across)));
    }
    if (value > 1.0) {
      float wide = fwidth(across);
      drawn = max(drawn, 0.62 * line(offMultiples(across, 1.8) / wide, 0.26 / wide));
    }
    return drawn;
  }
  void main() {
    float rising = (vOnMap.x + vOnMap.y) * 0.7071;
    float falling = (vOnMap.x - vOnMap.y) * 0.7071;
    float drawn = max(
      strokes(vRatio.x, true, rising, falling),
      strokes(vRatio.y, false, falling, rising));
    vec3 pen = max(vRatio.x, vRatio.y) > 1.32 ? vec3(1.0) : ink;
    gl_FragColor = vec4(mix(vShade, pen, drawn) * shape(), 1.0);
    #include <colorspace_fragment>
  }`;

export function strainMaterial() {
  return new THREE.ShaderMaterial({
    vertexShader: STRAIN_VERTEX,
    fragmentShader: STRAIN_FRAGMENT,
    uniforms: { ink: { value: new THREE.Color("#211f1c") } },
    side: THREE.DoubleSide,
    polygonOffset: true,
    polygonOffsetFactor: 4,
    polygonOffsetUnits: 4,
  });
}

const EFFORT_VERTEX = `
  varying vec3 vNormal;
  void main() {
    vNormal = normalMatrix * normal;
    gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
  }`;

// Easy is plain, what needs care is hatched once, what is hard is hatched both ways and darker.
const EFFORT_FRAGMENT = `
  uniform vec3 film;
  uniform vec3 ink;
  uniform float effort;
  uniform float step;
  uniform float pointed;
  varying vec3 vNormal;
  ${SHAPE}
  float hatch(float at) {
    float off = abs(at - step * floor(at / step + 0.5));
    return clamp(0.16 * step + 0.5 - off, 0.0, 1.0);
  }
  void main() {
    float rising = (gl_FragCoord.x - gl_FragCoord.y) * 0.7071;
    float falling = (gl_FragCoord.x + gl_FragCoord.y) * 0.7071;
    float drawn = 0.0;
    if (effort > 0.5) drawn = hatch(rising);
    if (effort > 1.5) drawn = max(drawn, hatch(falling));
    vec3 ground = mix(film, ink, 0.35 * pointed);
    gl_FragColor = vec4(mix(ground, ink, 0.8 * drawn) * shape(), 1.0);
    #include <colorspace_fragment>
  }`;

const EFFORTS = { easy: 0, care: 1, hard: 2 };

export function effortMaterial(effort, pixelRatio) {
  return new THREE.ShaderMaterial({
    vertexShader: EFFORT_VERTEX,
    fragmentShader: EFFORT_FRAGMENT,
    uniforms: {
      film: { value: new THREE.Color() },
      ink: { value: new THREE.Color() },
      effort: { value: EFFORTS[effort] ?? 0 },
      step: { value: 7 * pixelRatio },
      pointed: { value: 0 },
    },
    side: THREE.DoubleSide,
    polygonOffset: true,
    polygonOffsetFactor: 2,
    polygonOffsetUnits: 2,
  });
}
