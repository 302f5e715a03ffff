"""What the review page adds to the style of the bench sheet.

What a reader looks up, from the facts on, is set smaller on paper. What is folded away on the
screen prints open; a browser that cannot do that says so at the head of the page.
"""

from __future__ import annotations

OWN = """
.identity{display:grid;grid-template-columns:max-content 1fr;gap:.15rem 1rem;margin:.6rem 0;}
.identity dt{color:var(--thin);}
.identity dd{margin:0;min-width:0;}
.contents{columns:2;column-gap:2rem;margin:.35rem 0;padding-left:1.6rem;}
nav h2{border-top-width:1pt;}
.stop{font-weight:bold;}
.id,.fact{font-style:italic;}
.fact,.no{color:var(--thin);}
.no{font-variant-numeric:tabular-nums;}
.reasons,.cases{list-style:none;padding:0;}
.reasons>li,.cases>li{border-left:2pt solid var(--line);padding-left:.7rem;margin:.6rem 0;}
.reasons p,.cases p,td p,th p{margin:.15rem 0;}
.work{margin:.3rem 0;padding-left:2.2rem;}
details{border-top:.5pt solid var(--line);padding:.15rem 0;}
summary{cursor:pointer;padding:.15rem 0;}
summary:focus-visible,a:focus-visible{outline:2pt solid var(--ink);outline-offset:2pt;}
details[open]>summary{font-weight:bold;}
.inside,[id]{scroll-margin-top:2.2rem;}
.inside:has(:target),.inside:target,[id]:target{background:var(--pale);}
pre{font:.85em/1.35 'Liberation Mono',Consolas,Menlo,monospace;white-space:pre-wrap;
overflow-wrap:anywhere;background:var(--pale);padding:.5rem .7rem;margin:.4rem 0;}
.closing{border-top:2.5pt solid var(--ink);margin-top:1.7rem;padding-top:.5rem;}
.unfolds{display:none;}
tbody th{vertical-align:top;}
@media screen and (max-width:46rem){
.contents{columns:1;}
.wide>table{min-width:0;}
th,td{padding:.25rem .3rem;}
}
@media screen and (max-width:30rem){
.identity{display:block;}
.identity dd{margin:0 0 .35rem;}
body{padding:1rem .8rem 2rem;}
}
@media print{
.contents{columns:3;font-size:9pt;}
.reasons>li,.cases>li{margin:.3rem 0;break-inside:auto;}
.reasons p,.cases p,td p,th p{margin:.08rem 0;}
#cautions .caution{break-after:auto;}
h2+p,h3+p{break-after:avoid;}
h4{font-size:10pt;margin:.4rem 0 .15rem;}
#near,#turning,#others,#questions{font-size:9pt;}
#evidence .names{font-size:8.5pt;}
#facts,#numbers,#evidence,#choices,#texts{font-size:8.5pt;line-height:1.2;}
#texts{columns:2;column-gap:6mm;}
#texts>h2{column-span:all;}
#texts>h3{font-size:9.5pt;}
summary{list-style:none;break-after:avoid;font-weight:bold;}
details{break-inside:avoid;padding:.1rem 0;}
details::details-content{content-visibility:visible;display:block;}
pre{padding:.1rem 0 .1rem .5rem;border-left:1.5pt solid var(--line);margin:.2rem 0;
font-size:7.5pt;line-height:1.25;}
.inside p,.inside ul{margin:.1rem 0;}
.inside ul{padding-left:.9rem;}
thead{display:table-header-group;}
@supports not selector(::details-content){.unfolds{display:block;}}
}
"""
"""The text to put after the bench sheet's own style."""
