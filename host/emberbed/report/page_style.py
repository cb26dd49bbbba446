"""How the run page looks: one column, light or dark as the reader's system is, black on paper."""

STYLE = """
:root { color-scheme: light dark; --ink: #1c1e21; --paper: #fdfdfb; --soft: #5d636b;
  --line: #d5d8dc; --tint: #f1f2ef; --bad: #a62b12; --note: #1f5f8f; }
@media (prefers-color-scheme: dark) {
  :root { --ink: #e6e7e4; --paper: #17191c; --soft: #a3a9b1; --line: #3a3f45; --tint: #202327;
    --bad: #ff9278; --note: #7fc1ef; } }
@media print {
  :root { color-scheme: light; --ink: #000; --paper: #fff; --soft: #444; --line: #bbb;
    --tint: #fff; --bad: #8a1f0a; --note: #14486e; }
  section, tr, li, .verdict { break-inside: avoid; } h2 { break-after: avoid; }
  body { font-size: 10pt; } main { max-width: none; padding: 0; } }
* { box-sizing: border-box; }
body { margin: 0; background: var(--paper); color: var(--ink);
  font: 16px/1.5 system-ui, "Segoe UI", Roboto, "Noto Sans", sans-serif; }
main { max-width: 60rem; margin: 0 auto; padding: 2rem 1.25rem 3rem; }
h1 { font-size: 1.7rem; line-height: 1.2; margin: 0 0 .2rem; overflow-wrap: anywhere; }
h2 { font-size: 1.1rem; margin: 2.2rem 0 .6rem; }
p { margin: .4rem 0; }
.lead { color: var(--soft); margin-bottom: 1.2rem; }
.verdict { border-left: .35rem solid var(--note); background: var(--tint);
  padding: .7rem 1rem; margin: 1rem 0; }
.verdict.bad { border-color: var(--bad); }
.verdict strong { font-size: 1.15rem; }
.verdict ul { margin: .4rem 0 0; padding-left: 1.2rem; }
.bad h2, .verdict.bad strong { color: var(--bad); }
figure { margin: 1.2rem 0; }
figcaption { color: var(--soft); font-size: .88rem; }
svg { display: block; }
@media screen and (max-width: 700px) { figure svg { min-width: 44rem; } }
.scroll { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }
th, td { text-align: left; vertical-align: top; padding: .32rem .9rem .32rem 0;
  border-bottom: 1px solid var(--line); overflow-wrap: break-word; }
td:first-child { min-width: 9rem; max-width: 26rem; } table.events td:first-child { min-width: 0; }
th { color: var(--soft); font-weight: 600; font-size: .88rem; }
th.number, td.number { text-align: right; padding: .32rem .6rem; white-space: nowrap; }
table.events td:not(:last-child) { white-space: nowrap; width: 1%; padding-right: 2rem; }
dl { margin: 0; display: grid; gap: .1rem 2rem;
  grid-template-columns: repeat(auto-fit, minmax(min(24rem, 100%), 1fr)); }
dl > div { display: grid; grid-template-columns: 10.5rem 1fr; gap: .6rem;
  border-bottom: 1px solid var(--line); padding: .28rem 0; }
dt { color: var(--soft); } dd { margin: 0; overflow-wrap: anywhere; }
code { font: .86em ui-monospace, "DejaVu Sans Mono", Consolas, monospace; overflow-wrap: anywhere; }
"""
