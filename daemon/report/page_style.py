"""The page's look: light and dark, phone and paper, and no colour that alone tells.

Colours of courses follow Okabe and Ito's palette for the colour-blind (unverified),
darkened or lightened until text on the ground reads at 4.5:1 and lines at 3:1
(WCAG 2.2, 1.4.3 and 1.4.11; tests/report/test_page.py works both out).
"""

from cabinvigil.daemon.text.charts import LEFT, RIGHT, WIDTH

LIGHT = {
    "--ground": "#ffffff",
    "--card": "#f4f6f8",
    "--ink": "#14202b",
    "--soft": "#44525f",
    "--faint": "#d5dbe1",
    "--one": "#005f99",
    "--two": "#a85000",
    "--three": "#00704f",
    "--alarm": "#b3261e",
    "--warn": "#a85000",
    "--fault": "#5b6670",
    "--gap": "#c3cad1",
    "--good": "#00643f",
    "--on": "#ffffff",
}
DARK = {
    "--ground": "#10161c",
    "--card": "#1a232c",
    "--ink": "#e8edf2",
    "--soft": "#b4c0cb",
    "--faint": "#33404c",
    "--one": "#6cc0f5",
    "--two": "#f0a04b",
    "--three": "#3fcf9b",
    "--alarm": "#ff8a80",
    "--warn": "#f0a04b",
    "--fault": "#9aa7b3",
    "--gap": "#3a4753",
    "--good": "#4fd6a0",
    "--on": "#10161c",
}


def _variables(values: dict[str, str]) -> str:
    return "".join(f"{name}:{value};" for name, value in values.items())


CSS = (
    f".track{{margin-left:{100.0 * LEFT / WIDTH:.1f}%;"
    f"margin-right:{100.0 * RIGHT / WIDTH:.1f}%}}"
    f":root{{color-scheme:light dark;{_variables(LIGHT)}}}"
    f"@media (prefers-color-scheme:dark){{:root{{{_variables(DARK)}}}}}"
    """
*{box-sizing:border-box}
body{margin:0 auto;max-width:1180px;padding:16px;background:var(--ground);
color:var(--ink);font:1rem/1.45 system-ui,-apple-system,"Segoe UI",sans-serif;
overflow-wrap:break-word}
.whole{white-space:nowrap}
h1{font-size:1.15rem;margin:0 0 8px;font-weight:600}
h2{font-size:1.05rem;margin:24px 0 6px}
p{margin:4px 0}
.verdict{padding:12px 14px;border-radius:10px;color:var(--on);background:var(--good)}
.verdict.bad{background:var(--alarm)}
.verdict.near,.verdict.blind{background:var(--warn)}
.act{font-size:1.15rem;margin:8px 0}
.verdict p{font-size:1.15rem}.verdict b{display:block;font-size:1.5rem;line-height:1.2}
.tiles{display:grid;grid-template-columns:repeat(auto-fit,minmax(9.5rem,1fr));
gap:8px;margin:10px 0}
.tile{background:var(--card);border-radius:10px;padding:9px 11px}
.tile b{display:block;font-size:1.25rem}
.tile.past{outline:3px solid var(--alarm);outline-offset:-3px}
.tile.past b{color:var(--alarm)}
.tile span,small,caption,figcaption i,li>span{color:var(--soft);font-style:normal}
small{font-size:.88rem}
table{border-collapse:collapse;width:100%;font-size:.94rem}
caption{text-align:left;font-size:.88rem;padding-bottom:4px}
th,td{text-align:left;vertical-align:top;padding:4px 8px 4px 0;
border-bottom:1px solid var(--faint);font-weight:400}
th[scope=row]{font-weight:600}
ol{margin:4px 0;padding-left:1.3em}
li{margin:6px 0}
.stands,.near ul{list-style:none;margin:0;padding:0}
.stands li{border-bottom:1px solid var(--faint);padding-bottom:6px}
.track,.bar{position:relative;height:14px;margin-top:3px;background:var(--card)}
.track i,.bar i{position:absolute;top:0;height:14px;min-width:4px}
.hours{position:relative;height:1.5em;font-size:min(1em,4.2vw)}
.hours i{position:absolute;transform:translateX(-50%);font-style:normal}
.high{background:var(--alarm)}
.medium{border:2px solid var(--warn);background:repeating-linear-gradient(135deg,
var(--warn) 0 3px,transparent 3px 7px)}
.track i.low{background:var(--warn);height:4px;top:5px}
.fault{border:2px dotted var(--fault)}
.left{background:var(--one)}
.bar i.past{border:2px solid var(--alarm);background:repeating-linear-gradient(135deg,
var(--alarm) 0 4px,transparent 4px 8px)}
.bar u{position:absolute;left:60%;top:-3px;height:20px;width:3px;
margin-left:-1px;background:var(--ink)}
.pictures{display:grid;grid-template-columns:repeat(auto-fill,minmax(min(100%,21rem),1fr));
gap:4px 24px}
figure{margin:10px 0;max-width:27rem}
figcaption{font-weight:600}
svg{display:block;width:100%;height:auto}
svg *{stroke-linejoin:round}
svg text{paint-order:stroke;stroke:var(--ground);stroke-width:4px}
.key{font-size:.88rem;color:var(--soft)}
footer{margin-top:24px;font-size:.88rem;color:var(--soft)}
@media (min-width:820px){
.tables{display:grid;gap:0 32px;grid-template-columns:1fr 1fr}}
@media (max-width:419px){tbody,tr,tbody th,td{display:block;padding-right:0}
tr{border-bottom:1px solid var(--faint);padding:4px 0}th,td{border:0;padding:1px 0}
td[data-head]::before{content:attr(data-head);color:var(--soft)}
thead{position:absolute;clip-path:inset(50%)}}
@page{size:A4;margin:8mm}
@media print{:root{"""
    + _variables(LIGHT)
    + """}body{padding:0;max-width:none;font-size:8.5pt;line-height:1.25}
h1{font-size:11pt;margin:0 0 2px}h2{font-size:9.5pt;margin:5px 0 1px}
.tiles{grid-template-columns:repeat(5,1fr);margin:3px 0;gap:3px}
.tile{padding:2px 5px}.tile b{font-size:10pt}
.verdict{padding:3px 6px}.verdict b{font-size:12pt;display:inline;margin-right:6px}
.tables{display:grid;grid-template-columns:1fr 1fr;gap:0 12px}
.pictures{grid-template-columns:repeat(3,1fr);gap:0 8px}
.hours{font-size:8pt}.track,.bar{height:8px}
.track i,.bar i{height:8px}.bar u{height:12px;top:-2px}.track i.low{height:3px;top:3px}
.verdict p{font-size:11pt}
.stands li{display:flex;flex-wrap:wrap;gap:0 6px}.stands small{order:1;
max-width:100%;white-space:nowrap;overflow:hidden;text-overflow:ellipsis}
.stands .track{order:2;flex:0 0 75.9%}
table,caption,small,.key,footer{font-size:8pt}
figure,li,tr{margin:1px 0;break-inside:avoid}td,th{padding:0 5px 0 0}
li,p,ol{margin:1px 0}footer{margin-top:3px}.stands li{padding-bottom:1px}
.long br{display:none}.long small{margin-left:4px}
.long tbody tr:nth-child(n+9){display:none}
.more h2::after{content:" (not all)";font-weight:400}
*{print-color-adjust:exact;-webkit-print-color-adjust:exact}}
"""
)
