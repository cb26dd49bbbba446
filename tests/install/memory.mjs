// Live bytes of the firmware in the 32-bit MicroPython under node, after each step of a boot:
// node memory.mjs MODULE ROOT BENCH PORT PINS TICKS. ROOT becomes /emberbed/by-hand, its code /lib.
// The interpreter collects only between calls, so each step is one.
import fs from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";

const [moduleFile, root, bench, port, pins, ticks] = process.argv.slice(2);
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
const steps = [
  ["start", `import sys\nsys.path.insert(0, '/lib')\nimport ticks_on_pins as bench\nbench.play(${pins})`],
  ["code", `modules = bench.import_firmware('${port}', '/emberbed')`],
  ["port", "port = bench.make_port(modules)"],
  ["boot", "parts = bench.build(port)"],
  ["armed", "bench.run(parts, 60)"],
  ["run", `bench.run(parts, ${ticks} - 60)`],
];
try {
  copy(root, "/emberbed/by-hand");
  copy(path.join(root, "emberbed_fw"), "/lib/emberbed_fw");
  copy(path.join(root, "emberbed_fw", "start_up.mpy"), "/lib/emberbed_start.mpy");
  python.FS.writeFile("/lib/ticks_on_pins.py", fs.readFileSync(bench));
  const bytes = {};
  for (const [name, code] of steps) {
    python.runPython(code);
    bytes[name] = live();
  }
  python.runPython("print(bench.Bench.bead_mk)");
  bytes.bead_mk = Number(said.pop());
  console.log(JSON.stringify(bytes));
} catch (error) {
  console.log(String(error.message).slice(0, 2000));
  process.exitCode = 1;
}
