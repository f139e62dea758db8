// Bundles src/ into corromap/ui/canvas_assets. The bytes depend only on the
// sources and on package-lock.json, so a second build gives the same file.

import { build } from "esbuild";
import { copyFile, mkdir, readFile, readdir, writeFile } from "node:fs/promises";
import { existsSync } from "node:fs";
import path from "node:path";
import { fileURLToPath } from "node:url";

const here = path.dirname(fileURLToPath(import.meta.url));
const out = process.env.CANVAS_OUT ?? path.join(here, "..", "corromap", "ui", "canvas_assets");
await mkdir(out, { recursive: true });

const result = await build({
  absWorkingDir: here,
  entryPoints: ["src/main.ts"],
  outfile: path.join(out, "canvas.js"),
  bundle: true,
  format: "esm",
  target: "es2022",
  minify: true,
  legalComments: "none", // licences: THIRD-PARTY-LICENSES.md, made below
  charset: "utf8",
  metafile: true,
  banner: { js: "/* The photo canvas of corromap (MIT). Source: frontend/. Licences of what is bundled: THIRD-PARTY-LICENSES.md */" },
});
await copyFile(path.join(here, "src", "canvas.css"), path.join(out, "canvas.css"));

const bundled = new Set();
for (const file of Object.keys(result.metafile.inputs)) {
  const match = /node_modules\/((?:@[^/]+\/)?[^/]+)\//.exec(file);
  if (match) bundled.add(match[1]);
}
const parts = [
  "# Licences of the software in canvas.js\n",
  "Made by `npm run build` from the packages whose code is in the bundle.\n",
];
for (const name of [...bundled].sort()) {
  const folder = path.join(here, "node_modules", name);
  const about = JSON.parse(await readFile(path.join(folder, "package.json"), "utf8"));
  const file = (await readdir(folder)).sort().find((entry) => /^licen[cs]e/i.test(entry));
  if (!file && !existsSync(path.join(folder, "README.md"))) throw new Error(`${name}: no licence text found`);
  const text = file ? await readFile(path.join(folder, file), "utf8") : `Licence: ${about.license}`;
  parts.push(`## ${name} ${about.version} (${about.license})\n\n\`\`\`\n${text.trim()}\n\`\`\`\n`);
}
await writeFile(path.join(out, "THIRD-PARTY-LICENSES.md"), parts.join("\n"));
const bytes = Object.values(result.metafile.outputs)[0].bytes;
console.log(`canvas.js ${bytes} bytes; bundled: ${[...bundled].sort().join(", ")}`);
