// What a fragment of wood looks like: growth layers by the log model, bark beyond them, a plate's own colour and pattern.
const WOOD_VERTEX = "centroid varying vec3 vLog; centroid varying vec2 vFace; attribute vec2 face;\n";
const WOOD_FRAGMENT = `
centroid varying vec3 vLog; centroid varying vec2 vFace;
uniform sampler2D uWood; uniform vec4 uSpan; uniform float uSection; uniform float uSapwood; uniform vec3 uOwn;
uniform float uOwned; uniform int uPattern; uniform float uPicked; uniform float uFade;
float stripe(float at, float every) { return step(0.72, fract(at / every)); }
vec3 woodColour() {
  float v = ((vLog.x - uSpan.x) / (uSpan.y - uSpan.x) * (uSpan.w - 1.0) + 0.5) / uSpan.w;
  vec2 pith = texture2D(uWood, vec2(0.5, v)).gb * uSpan.z;
  vec2 away = vLog.yz - pith;
  float clock = atan(-away.x, away.y) / 6.2831853;
  float radius = texture2D(uWood, vec2(clock + 0.5 / 72.0, v)).r * uSpan.z;
  float rho = length(away) / radius;
  if (rho > 1.003) {
    float rough = fract(sin(dot(floor(vec2(clock * 150.0, vLog.x / 38.0)), vec2(12.99, 78.23))) * 43758.5);
    float turn = clock * 56.0 + 0.35 * sin(vLog.x / 61.0) + 0.2 * sin(vLog.x / 23.0 + clock * 90.0);
    float furrow = mix(0.5, abs(2.0 * fract(turn) - 1.0), clamp(1.4 - 2.5 * fwidth(turn), 0.0, 1.0));
    return vec3(0.42, 0.34, 0.27) * (0.82 + 0.17 * furrow + 0.10 * rough);
  }
  float turns = rho * 30.0;
  float grain = fract(turns) * fract(turns) * fract(turns);
  float blur = clamp(1.8 - 2.4 * fwidth(turns), 0.0, 1.0);
  float year = fract(sin(floor(turns) * 91.7) * 4375.8);
  vec3 heart = mix(vec3(0.87, 0.74, 0.57), vec3(0.60, 0.44, 0.30), mix(0.25, grain * (0.6 + 0.4 * year), blur));
  float sap = uSapwood > 0.0 ? smoothstep(-2.0, 2.0, length(away) - radius + uSapwood) : 0.0;
  heart = mix(heart, vec3(0.90, 0.81, 0.65) * (0.9 + 0.1 * (1.0 - grain * blur)), sap * 0.75);
  return length(away) < 5.0 ? heart * 0.45 : heart;
}
float pattern() {
  if (uPattern == 1) return stripe(vFace.y, 30.0);
  if (uPattern == 2) return stripe(vFace.x, 30.0);
  if (uPattern == 3) return stripe((vFace.x + vFace.y) * 0.7, 30.0);
  if (uPattern == 4) return stripe((vFace.x - vFace.y) * 0.7, 30.0);
  if (uPattern == 5) return max(stripe((vFace.x + vFace.y) * 0.7, 40.0), stripe((vFace.x - vFace.y) * 0.7, 40.0));
  if (uPattern == 6) return 1.0 - step(7.0, length(mod(vFace, 30.0) - 15.0));
  return 0.0;
}
`;
const WOOD_COLOUR = `
if (vLog.x < uSection - 0.02) discard;
vec3 seen = woodColour();
if (uOwned > 0.5) seen = mix(uOwn, vec3(1.0), 0.24 * pattern()) * mix(1.0, 0.55 + dot(seen, vec3(0.22)), 0.3);
seen = mix(seen, vec3(1.0, 0.80, 0.25), uPicked * 0.55);
diffuseColor = vec4(pow(seen, vec3(2.2)), uFade);`;
