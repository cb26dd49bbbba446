// What importing each firmware module takes of a 32-bit heap:
// node module_memory.mjs MODULE FOLDER BENCH NAMES.. (BENCH stands in for a board's own modules)
import fs from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";

const [moduleFile, firmware, bench, ...names] = process.argv.slice(2);
const { loadMicroPython } = await import(pathToFileURL(moduleFile).href);
const said = [];
const python = await loadMicroPython({ heapsize: 4 * 1024 * 1024, linebuffer: true, stdout: (line) => said.push(line) });
const copy = (from, to) => {
  if (fs.statSync(from).isDirectory()) {
    python.FS.mkdirTree(to);
    for (const name of fs.readdirSync(from)) copy(path.join(from, name), `${to}/${name}`);
  } else {
    python.FS.writeFile(to, fs.readFileSync(from));
  }
};
const live = () => {
  python.runPython("import gc\ngc.collect()");
  python.runPython("import gc\nprint(gc.mem_alloc())");
  return Number(said.pop());
};
try {
  copy(firmware, "/lib/emberbed_fw");
  python.FS.writeFile("/lib/ticks_on_pins.py", fs.readFileSync(bench));
  python.runPython("import sys, struct, binascii, array, micropython\nsys.path.insert(0, '/lib')");
  python.runPython("import ticks_on_pins\nticks_on_pins.play({})");
  const bytes = {};
  let before = live();
  for (const name of names) {
    python.runPython(`import emberbed_fw.${name}`);
    const now = live();
    bytes[name] = now - before;
    before = now;
  }
  console.log(JSON.stringify(bytes));
} catch (error) {
  console.log(String(error.message).slice(0, 2000));
  process.exitCode = 1;
}
