"""The style of the bench sheet: ink on paper, light or dark on the screen, black in print.

Nothing is told by colour or by shade alone, so that it prints in grey or without backgrounds. Print
text is 10 points or more where the bench needs it, and 8.5 where only a reviewer reads. Pages have
no fixed size and all stand upright. Drawings are 190 mm wide in print, the width that A4 leaves
between its margins: a pixel of theirs is then a quarter of a millimetre, and capitals are 2.2 mm.
"""

from __future__ import annotations

STYLE = """
:root{color-scheme:light dark;--ink:#111;--thin:#555;--paper:#fff;--pale:#f2f2f2;--line:#777;
--alarm:#9b1111;}
@media (prefers-color-scheme:dark){:root{--ink:#eee;--thin:#b5b5b5;--paper:#16191d;--pale:#23272d;
--line:#8a8f96;--alarm:#ff9c8f;}}
*{box-sizing:border-box;}
html{background:var(--paper);color:var(--ink);font:12pt/1.38 'Liberation Sans',Arial,Helvetica,
sans-serif;-webkit-text-size-adjust:100%;text-size-adjust:100%;}
body{margin:0 auto;padding:1.5rem 1.25rem 3rem;max-width:54rem;overflow-wrap:anywhere;}
h1{font-size:20pt;line-height:1.15;margin:0;}
h2{font-size:15pt;line-height:1.2;margin:1.7rem 0 .6rem;padding-top:.35rem;
border-top:2.5pt solid var(--ink);}
h3{font-size:12.5pt;line-height:1.25;margin:1.1rem 0 .35rem;}
h4{font-size:12pt;line-height:1.25;margin:.9rem 0 .3rem;}
p{margin:.35rem 0;}
ul{margin:.35rem 0;padding-left:1.3rem;}
li{margin:.25rem 0;}
code{font:inherit;font-style:italic;}
a{color:inherit;}
.quiet{color:var(--thin);}
.head{display:flex;flex-wrap:wrap;gap:.3rem 2rem;justify-content:space-between;
align-items:baseline;}
.head p{margin:0;}
.fill{display:flex;flex-wrap:wrap;gap:.7rem 1.6rem;margin:.9rem 0;}
.blank{display:inline-flex;flex:1 1 11rem;gap:.4rem;align-items:flex-end;min-width:9rem;}
.blank.short{flex:0 1 10rem;}
.blank.long{flex-basis:100%;}
.blank .rule{flex:1;border-bottom:1pt solid var(--ink);height:1.5em;min-width:3.5rem;}
.status{border:2.5pt solid var(--ink);padding:.45rem .8rem;margin:.9rem 0 0;}
.status p:first-child{font-size:15pt;font-weight:bold;line-height:1.2;margin:0;}
.status.halt{border-width:6pt;border-color:var(--alarm);padding:.8rem 1rem;}
.status.halt p:first-child{font-size:26pt;color:var(--alarm);}
.status.halt .stop{font-size:14pt;font-weight:bold;}
.build p{margin:.2rem 0;font-size:14pt;line-height:1.3;}
.build p:first-child{font-size:19pt;font-weight:bold;line-height:1.22;}
.halted .build p,.halted .build p:first-child{font-size:12pt;font-weight:normal;}
.caution{border:1pt solid var(--ink);border-left-width:7pt;padding:.4rem .75rem;margin:.6rem 0;}
.caution.note{border:0;border-left:3pt solid var(--line);padding:.1rem .75rem;}
.caution p{margin:0;}
.steps{margin:.4rem 0;padding-left:2.4rem;}
.steps>li{margin:.5rem 0;padding-left:.2rem;}
.steps>li::marker{font-weight:bold;}
.steps .tick{display:flex;gap:.6rem;align-items:baseline;}
.steps .tick input{position:relative;top:2pt;}
.before{font-weight:bold;}
.tick{cursor:pointer;}
.ticks{display:flex;flex-wrap:wrap;gap:.5rem 2.2rem;margin:.7rem 0;}
.ticks .tick{display:inline-flex;gap:.5rem;align-items:center;}
input[type=checkbox]{-webkit-appearance:none;appearance:none;flex:none;width:13pt;height:13pt;
margin:.1em 0 0;border:1.4pt solid var(--ink);border-radius:0;background:transparent;
vertical-align:-.15em;display:inline-grid;place-content:center;}
input[type=checkbox]:checked::before{content:"";width:6pt;height:6pt;background:var(--ink);
box-shadow:0 0 0 1pt var(--ink);}
input[type=checkbox]:focus-visible{outline:2pt solid var(--ink);outline-offset:2pt;}
.wide{overflow-x:auto;margin:.6rem 0;padding-right:1px;}
table{border-collapse:collapse;width:100%;table-layout:fixed;}
caption{text-align:left;font-weight:bold;padding:.2rem 0 .35rem;}
caption .quiet{font-weight:normal;}
th,td{border:.75pt solid var(--line);padding:.28rem .45rem;text-align:left;vertical-align:top;}
thead th{background:var(--pale);line-height:1.2;vertical-align:bottom;}
tbody th{font-weight:normal;}
.settings tbody td:nth-child(2){font-weight:bold;font-size:13pt;}
.record td,.record tbody th{height:2.15em;}
.record tbody th{text-align:center;}
.record td{text-align:center;vertical-align:middle;}
.drawing{margin:.8rem 0;}
.drawing svg{display:block;margin:0 auto;}
.pairs{columns:2;column-gap:2rem;list-style:none;padding:0;}
.pairs li{display:flex;justify-content:space-between;gap:.2rem .8rem;margin:0;padding:.14rem 0;
border-bottom:.5pt solid var(--line);break-inside:avoid;}
.pairs li>:last-child{text-align:right;flex:0 1 auto;max-width:60%;}
.numbers li>:last-child{white-space:nowrap;}
.names{font-size:11pt;}
@media screen and (max-width:46rem){.pairs{columns:1;}.wide>table{min-width:34rem;}}
@page{margin:8mm 10mm;}
@media print{
:root{color-scheme:light;--ink:#000;--thin:#000;--paper:#fff;--pale:#fff;--line:#000;--alarm:#000;}
html{font-size:10pt;line-height:1.22;}
body{max-width:none;padding:0;}
a{text-decoration:none;}
h1{font-size:17pt;}
h2{font-size:12.5pt;margin:.65rem 0 .3rem;padding-top:.15rem;border-top-width:1.5pt;}
h3{font-size:10.5pt;margin:.5rem 0 .2rem;}
h1,h2,h3,h4,caption,thead,.star{break-after:avoid;}
p,ul{margin-top:.2rem;margin-bottom:.2rem;}
li{margin:.12rem 0;}
.fill,.status{margin-top:.35rem;margin-bottom:.35rem;}
.fill{row-gap:.3rem;}
.status{border-width:1.75pt;padding:.25rem .6rem;}
.status p:first-child{font-size:13pt;}
.status.halt p:first-child{font-size:24pt;}
.build p{margin:.1rem 0;font-size:11.5pt;}
.build p:first-child{font-size:16pt;}
.halted .build p,.halted .build p:first-child{font-size:10pt;}
.arrow{list-style:none;padding:0;}
.arrow li{display:inline-block;margin-right:1.6em;}
.caution{padding:.15rem .6rem;margin:.28rem 0;}
.caution.note{padding:0 .6rem;}
.steps{margin:.25rem 0;padding-left:2rem;}
.steps>li{margin:.22rem 0;}
.ticks{margin:.4rem 0;gap:.3rem 1.6rem;}
input[type=checkbox]{width:11pt;height:11pt;}
.wide{overflow:visible;margin:.28rem 0;}
caption{padding:.1rem 0 .2rem;}
th,td{padding:.15rem .4rem;}
.settings tbody td:nth-child(2){font-size:11.5pt;}
#check td,#check th{padding:.06rem .35rem;}
.record td,.record tbody th{height:1.8em;}
.record caption,.settings caption{display:none;}
#rules,.settings{break-inside:avoid;}
tbody tr:nth-child(-n+2),tbody tr:nth-last-child(2),h3+.fill,h3+.fill+.star{break-after:avoid;}
li,tr,p,.caution,.status,.fill,.ticks,.drawing{break-inside:avoid;}
.caution:has(+.caution,+.steps){break-after:avoid;}
#before .caution{break-after:auto;}
p,li{orphans:3;widows:3;}
.drawings h2{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%);}
.drawings{position:relative;}
.drawing{margin:2mm 0 0;}
.drawing .arrow-drawing{width:190mm;max-width:100%;height:auto;}
.apart{break-before:page;}
.review{columns:2;column-gap:7mm;font-size:8.5pt;line-height:1.2;}
.review li{margin:.08rem 0;}
.review .pairs{columns:1;}
.review .pairs li{margin:0;padding:.03rem 0;}
.review ul{padding-left:1rem;}
.review .pairs{padding-left:0;}
.review .names{font-size:8.5pt;}
.review h3{font-size:10.5pt;border-top:.75pt solid var(--ink);padding-top:.15rem;}
.review section:first-child h3{margin-top:0;}
.review h4{font-size:9.5pt;margin:.35rem 0 .1rem;}
}
"""
"""The text of the page's style element."""
