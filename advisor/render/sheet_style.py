"""The style of the bench sheet: ink on paper, light or dark on the screen, black in print.

Nothing is told by colour or by shade alone, so that it prints in grey or without backgrounds. Print
text is 11 points or more. Pages have no fixed size: `@page` sets margins. Drawings lie on their
side, for upright their labels would be too small to read at arm's length; they are fitted to the
height and the width that A4 and Letter both leave.
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
@page{margin:12mm 13mm;}
@page drawing{size:landscape;margin:7mm 11mm;}
@media print{
:root{color-scheme:light;--ink:#000;--thin:#000;--paper:#fff;--pale:#fff;--line:#000;--alarm:#000;}
html{font-size:11.5pt;line-height:1.32;}
body{max-width:none;padding:0;}
a{text-decoration:none;}
h1,h2,h3,caption,thead,.star{break-after:avoid;}
h2{margin-top:1.05rem;margin-bottom:.45rem;}
.fill,.status{margin-top:.7rem;margin-bottom:.7rem;}
.build p{margin:.1rem 0;}
#lay-out,#rules{break-inside:avoid;}
li,tr,p,.caution,.status,.fill,.ticks,.drawing{break-inside:avoid;}
.caution:has(+.caution,+.steps){break-after:avoid;}
#before .caution{break-after:auto;}
p,li{orphans:3;widows:3;}
.wide{overflow:visible;}
.short{break-inside:avoid;}
.drawings h2{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%);}
.drawings{page:drawing;break-before:page;break-after:page;position:relative;}
.drawing{margin:0;break-after:page;}
.drawing:last-child{break-after:auto;}
.drawing .arrow-drawing{width:100%;height:auto;max-height:195mm;}
}
"""
"""The text of the page's style element."""
