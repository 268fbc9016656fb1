// One viewer: a scene in a div.
import * as THREE from "three";
import { OrbitControls } from "three/addons/controls/OrbitControls.js";
import { GLTFLoader } from "three/addons/loaders/GLTFLoader.js";

export function openViewer(place) {
  const renderer = new THREE.WebGLRenderer({ antialias: true, alpha: true });
  const camera = new THREE.PerspectiveCamera(30, 1, 10, 100000);
  camera.up.set(0, 0, 1);
  const scene = new THREE.Scene();
  scene.add(new THREE.HemisphereLight(0xffffff, 0x888888, 3));
  const controls = new OrbitControls(camera, renderer.domElement);
  place.append(renderer.domElement);
  new GLTFLoader().load(place.dataset.glb, (found) => scene.add(found.scene));
  controls.update();
}
