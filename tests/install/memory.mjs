// Live bytes in the 32-bit MicroPython under node, after each of some steps:
// node memory.mjs MODULE FILES STEPS. FILES: {path there: path here} in JSON, folders whole; STEPS:
// [name, Python code]. The interpreter collects only between calls, so each step is one. Prints
// {bytes: {name: live bytes}, said: lines that the steps have printed}.
import fs from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";

const [moduleFile, files, steps] = process.argv.slice(2);
const { loadMicroPython } = await import(pathToFileURL(moduleFile).href);
const said = [];
const python = await loadMicroPython({ heapsize: 4 * 1024 * 1024, linebuffer: true, stdout: (line) => said.push(line) });
const copy = (from, to) => {
  if (fs.statSync(from).isDirectory()) {
    for (const name of fs.readdirSync(from)) copy(path.join(from, name), `${to}/${name}`);
  } else {
    python.FS.mkdirTree(path.posix.dirname(to));
    python.FS.writeFile(to, fs.readFileSync(from));
  }
};
const live = () => {
  python.runPython("import gc\ngc.collect()");
  python.runPython("import gc\nprint(gc.mem_alloc())");
  return Number(said.pop());
};
try {
  for (const [to, from] of Object.entries(JSON.parse(files))) copy(from, to);
  const bytes = {};
  for (const [name, code] of JSON.parse(steps)) {
    python.runPython(code);
    bytes[name] = live();
  }
  console.log(JSON.stringify({ bytes, said }));
} catch (error) {
  console.log(String(error.message).slice(0, 2000));
  process.exitCode = 1;
}
