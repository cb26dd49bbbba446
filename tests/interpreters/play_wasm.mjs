// Runs a player of tapes in the 32-bit wasm MicroPython under node: node play_wasm.mjs MODULE FIRMWARE SCRIPT TAPE
import fs from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";

const [moduleFile, firmware, script, tape] = process.argv.slice(2);
const { loadMicroPython } = await import(pathToFileURL(moduleFile).href);
const python = await loadMicroPython({ heapsize: 4 * 1024 * 1024, linebuffer: true, stdout: (line) => console.log(line) });
const copy = (from, to) => {
  if (fs.statSync(from).isDirectory()) {
    python.FS.mkdirTree(to);
    for (const name of fs.readdirSync(from)) {
      if (name !== "__pycache__") copy(path.join(from, name), `${to}/${name}`);
    }
  } else {
    python.FS.writeFile(to, fs.readFileSync(from));
  }
};
copy(firmware, "/lib/emberbed_fw");
python.FS.writeFile("/tape.bin", fs.readFileSync(tape));
try {
  python.runPython(`import sys\nsys.path.insert(0, "/lib")\n` + fs.readFileSync(script, "utf8"));
} catch (error) {
  console.log(String(error.message).slice(0, 2000));
  process.exitCode = 1;
}
