"""Style rules of pictures, boards and panels: everything of CSS in one place.

All names begin with 'lk-', so that nothing else on the page is touched. Colours are the variables
of `lessons.pictures.look`.
"""

from __future__ import annotations

from lessons.pictures.look import page_colours_css

__all__ = ["BOARDS", "FLASHES_PER_S", "FRAME", "PICTURES", "PLANT_PANEL", "PROJECTOR"]

FLASHES_PER_S = 1.5
"""Flashing of a lamp, in Hz; WCAG 2.1 criterion 2.3.1 allows at most 3 flashes in a second."""

_FONT = "var(--jp-ui-font-family,system-ui),'DejaVu Sans',sans-serif"

PICTURES = (
    page_colours_css(".lk")
    + ".lk{color:var(--lk-ink);background:var(--lk-paper)}"
    f".lk-svg{{display:block;width:100%;height:auto;font-family:{_FONT}}}"
    ".lk-svg text{fill:var(--lk-ink);font-size:15px}"
    ".lk-svg .q{fill:var(--lk-quiet)}.lk-svg .b{font-weight:700}"
    ".lk-svg .over{paint-order:stroke;stroke:var(--lk-paper);stroke-width:4px}"
    ".lk-svg .f{fill:var(--lk-fault)}.lk-svg .w{fill:var(--lk-warn)}"
    ".lk-svg .p{fill:var(--lk-plate-text)}.lk-svg .pq{fill:var(--lk-plate-quiet)}"
    ".lk-svg .plate{fill:var(--lk-plate);stroke:var(--lk-plate-edge);stroke-width:1.5}"
    ".lk-svg .wire,.lk-svg .idle,.lk-svg .dead{fill:none;stroke:var(--lk-wire);"
    "stroke-linejoin:round;stroke-linecap:butt}"
    ".lk-svg .wire{stroke-width:5}"
    ".lk-svg .idle{stroke-width:2.2}"
    ".lk-svg .dead{stroke:var(--lk-idle);stroke-width:2.2;stroke-dasharray:5 5}"
    ".lk-svg .halo{fill:none;stroke:var(--lk-paper);stroke-width:9}"
    ".lk-svg .mark{fill:none;stroke:var(--lk-fault);stroke-width:4.5}"
    ".lk-svg .back{fill:var(--lk-paper)}"
    ".lk-svg .tag{fill:var(--lk-tag);stroke:var(--lk-tag-text);stroke-width:1.5}"
    ".lk-svg .tt{fill:var(--lk-tag-text);font-weight:700}"
    ".lk-svg .tx{fill:none;stroke:var(--lk-tag-text);stroke-width:3}"
    ".lk-svg .tag.mild{fill:var(--lk-lamp-yellow);stroke:var(--lk-plate)}"
    ".lk-svg .tt.mild{fill:var(--lk-plate)}.lk-svg .warn{fill:var(--lk-plate)}"
    ".lk-svg .weak{fill:none;stroke:var(--lk-warn);stroke-width:3;stroke-dasharray:10 5}"
    ".lk-svg .yellow{stroke:var(--lk-plate)!important}"
    ".lk-svg .well{fill:var(--lk-well);stroke:none}.lk-svg .rg{fill:var(--lk-lamp-green)}"
    ".lk-svg .feed{fill:none;stroke:var(--lk-wire);stroke-width:3;stroke-dasharray:1.5 2.5}"
    ".lk-svg .off{fill:none;stroke:var(--lk-plate-off);stroke-width:1.6}"
    + "".join(
        f".lk-svg .{name}{{fill:var(--lk-lamp-{name});stroke:var(--lk-lamp-{name})}}"
        f".lk-svg .o{name}{{fill:none;stroke:var(--lk-lamp-{name});stroke-width:4.5}}"
        for name in ("green", "white", "yellow", "red")
    )
    + ".lk-svg .card{fill:var(--lk-panel);stroke:var(--lk-rule);stroke-width:1.2}"
    ".lk-svg .frame{fill:none;stroke:var(--lk-rule);stroke-width:1.2}"
    ".lk-svg .grid{fill:none;stroke:var(--lk-grid);stroke-width:1}"
    ".lk-svg .limit{fill:none;stroke:var(--lk-fault);stroke-width:2;stroke-dasharray:9 4}"
    ".lk-svg .aim{fill:none;stroke:var(--lk-quiet);stroke-width:1.8;stroke-dasharray:2 4}"
    ".lk-svg .curve{fill:none;stroke:var(--lk-curve);stroke-width:3;stroke-linejoin:round}"
    ".lk-svg .now{fill:var(--lk-curve);stroke:var(--lk-paper);stroke-width:1.5}"
    ".lk-svg .event{fill:none;stroke:var(--lk-ink);stroke-width:1.4}"
    ".lk-svg .eventhead{fill:var(--lk-ink)}"
    ".lk-svg .water{fill:var(--lk-water)}"
    ".lk-svg .wall{fill:none;stroke:var(--lk-wire);stroke-width:3.5}"
    ".lk-fw{visibility:hidden}"
    f"@keyframes lk-flash{{0%,50%{{opacity:1}}50.01%,100%{{opacity:.12}}}}"
    f".lk-flash{{animation:lk-flash {1 / FLASHES_PER_S:.3f}s infinite}}"
    "@media (prefers-reduced-motion:reduce){.lk-flash{animation:none}.lk-fw{visibility:visible}}"
    ".lk-still .lk-flash{animation:none}.lk-still .lk-fw{visibility:visible}"
)
"""Style rules of all pictures; a panel carries them once, a picture that stands alone too."""

BOARDS = (
    ".lk-head{background:var(--lk-plate);color:var(--lk-plate-text);border-radius:8px;"
    "border:1.5px solid var(--lk-plate-edge);display:flex;flex-wrap:wrap;align-items:center;"
    "gap:2px 14px;padding:8px 16px;line-height:1.25}"
    ".lk-head svg{flex:none;width:46px;height:34px}"
    ".lk-head .s{flex:1 1 300px;min-width:0}"
    ".lk-head .s1{font-size:22px;font-weight:700}.lk-head .s2{font-size:15px;"
    "color:var(--lk-plate-quiet)}"
    ".lk-head .k{flex:0 1 auto;margin-left:auto;text-align:right}"
    ".lk-head .k1{font-size:20px;font-weight:700;font-variant-numeric:tabular-nums}"
    ".lk-head .k2{font-size:14px;color:var(--lk-plate-quiet)}"
    ".lk-fns{display:flex;flex-wrap:wrap;gap:6px;line-height:1.3}"
    ".lk-fn{flex:1 1 280px;background:var(--lk-panel);border:1px solid var(--lk-rule);"
    "border-radius:8px;padding:5px 10px;font-size:13.5px}"
    ".lk-fn .n{display:flex;align-items:center;gap:8px;font-size:16px;font-weight:700}"
    ".lk-fn .n svg{width:26px;height:18px;background:var(--lk-plate);border-radius:4px}"
    # Columns of fixed shares: the browser need not weigh every row to place one.
    ".lk-rec{width:100%;table-layout:fixed;border-collapse:collapse;font-size:13px;"
    "line-height:1.3}"
    ".lk-rec th:nth-child(1){width:76px}.lk-rec th:nth-child(2){width:8%}"
    ".lk-rec th:nth-child(3){width:11%}.lk-rec th:nth-child(4){width:13%}"
    ".lk-rec th:nth-child(5){width:17%}.lk-rec td{overflow-wrap:anywhere}"
    ".lk-rec caption{text-align:left;font-weight:700;font-size:14px;padding-bottom:2px}"
    ".lk-rec th{position:sticky;top:0;background:var(--lk-panel);text-align:left;"
    "font-weight:700}"
    ".lk-rec td,.lk-rec th{padding:3px 6px;vertical-align:top;border-bottom:1px solid "
    "var(--lk-grid)}"
    ".lk-rec td:first-child,.lk-rec th:first-child{text-align:right;white-space:nowrap;"
    "font-variant-numeric:tabular-nums}"
    ".lk-rec .y{color:var(--lk-quiet)}"
)
"""Style rules of what is written around the pictures."""

FRAME = (
    ".lk-panel{border:1px solid var(--lk-rule);border-radius:10px;padding:10px 12px;"
    "container-type:inline-size;overflow:visible;margin:0;"
    "font-family:var(--jp-ui-font-family,system-ui),sans-serif}"
    ".lk-panel .widget-html-content{line-height:1.35;font-size:14px}"
    ".lk-panel .widget-html{margin:0;height:auto}"
    ".lk-panel .widget-box{overflow:visible;margin:0}"
    ".lk-panel .lk-style{display:none}"
    '[data-jp-theme-light="false"] .lk-panel{color-scheme:dark}'
    ".lk-panel select,.lk-panel input[type=text]{background:var(--lk-panel)!important;"
    "border:1px solid var(--lk-rule)!important;border-radius:5px}"
    ".lk-panel select{appearance:auto!important;background-image:none!important;"
    "padding:0 2px!important;min-width:0!important}"
    ".lk-panel input::placeholder{color:var(--lk-quiet)!important;opacity:1}"
    # An exercise that opens a panel gives it the whole width of the page.
    ".lkx:has(.lk-panel){max-width:none!important}"
    ".lk-task{font-size:15px;padding:2px 0 6px}"
    ".lk-message{border:2px solid var(--lk-fault);color:var(--lk-fault);border-radius:8px;"
    "padding:6px 10px;margin-top:6px;font-weight:600}"
)
"""Style rules of every panel."""

_BOX = (
    "border:1px solid var(--lk-rule);border-radius:6px;background:var(--lk-panel);"
    "overflow-y:auto!important;display:block!important"
)
PLANT_PANEL = (
    ".lk-columns{display:flex;flex-flow:row-reverse nowrap;gap:12px;margin:8px 0!important}"
    ".lk-pictures{flex:1 1 0;min-width:0;gap:2px}"
    ".lk-controls{flex:0 0 292px;min-width:0;gap:6px;position:relative}"
    ".lk-bar{flex-flow:row wrap!important;gap:4px 8px;align-items:center;"
    "margin-top:8px!important}.lk-bar>*,.lk-find{margin:0!important}"
    ".lk-find{width:auto!important;flex:0 0 auto}"
    ".lk-bar .jupyter-button{padding:0 9px;font-size:13px;height:28px;line-height:26px;"
    "border:1px solid var(--lk-rule);border-radius:5px;color:var(--lk-ink);"
    "background:var(--lk-panel)}"
    ".lk-panel .widget-label,.lk-panel select,.lk-panel input,.lk-check .widget-label-basic"
    "{font-size:13px!important;color:var(--lk-ink)!important}"
    ".lk-check,.lk-fault{height:auto!important;width:auto!important;margin:0!important}"
    ".lk-check .widget-label-basic,.lk-fault .widget-label-basic{display:flex!important;"
    "gap:6px;align-items:flex-start;width:100%;white-space:normal!important;line-height:1.3;"
    "padding:2px 0;cursor:pointer;overflow:visible!important;text-align:left;"
    "justify-content:flex-start}"
    ".lk-check input,.lk-fault input{margin:1px 0 0!important;flex:0 0 15px!important;"
    "height:15px;align-self:flex-start!important}"
    ".lk-check span,.lk-fault span{flex:1 1 auto!important;text-align:left}"
    ".lk-panel .lk-hidden{display:none!important}"
    f".lk-faults{{flex:1 1 100px;min-height:210px;padding:0 8px 4px;{_BOX}}}"
    f".lk-record{{height:230px;padding:2px 8px;contain:layout paint style;{_BOX}}}"
    # What is drawn anew moves nothing beside it.
    ".lk-pictures>*,.lk-cards{contain:layout style}"
    ".lk-group{display:block!important;break-inside:avoid}"
    ".lk-place{font-weight:700;font-size:13px;padding:6px 0 1px;color:var(--lk-quiet)}"
    ".lk-fault .widget-label-basic{font-size:13px}"
    ".lk-fault input:checked+span{color:var(--lk-fault)!important;font-weight:700}"
    ".lk-panel :focus-visible{outline:3px solid var(--lk-curve)!important;"
    "outline-offset:1px}"
    # Narrow: switches above the picture, cards below it. Only what takes no focus is
    # moved, so that the order of reading stays that of the keyboard.
    "@container (max-width:980px){.lk-columns{flex-flow:column nowrap}"
    ".lk-controls{display:contents!important}.lk-pictures{flex:0 0 auto;order:1}"
    ".lk-cards{order:2}.lk-faults{flex:0 0 auto;display:grid!important;max-height:140px;"
    "min-height:0;grid-template-columns:repeat(auto-fill,minmax(min(250px,100%),1fr));"
    "gap:0 14px;align-items:start}.lk-faults>.lk-none{grid-column:1/-1}}"
    ".lk-keep{margin-top:4px!important}.lk-said{font-size:13.5px}"
    ".lk-acts{width:auto!important;height:auto!important;align-items:flex-start}"
    ".lk-acts select{height:auto!important;overflow-y:auto;width:100%;max-width:none!important}"
    ".lk-about .widget-html-content{font-size:15px;padding:2px 0}"
    ".lk-cmp{width:100%;border-collapse:collapse;font-size:14px;line-height:1.3;margin-bottom:6px}"
    ".lk-cmp caption{text-align:left;font-weight:700;padding-bottom:2px}"
    ".lk-cmp th,.lk-cmp td{text-align:left;padding:3px 8px;vertical-align:top;"
    "border-bottom:1px solid var(--lk-grid);font-weight:400}"
    ".lk-cmp thead th{font-weight:700}.lk-cmp .lk-unlike>*{font-weight:700}"
    ".lk-cmp tr:not(.lk-unlike)>*{color:var(--lk-quiet)}"
    ".lk-cmp th:first-child{width:150px}.lk-cmp td:last-child{width:56px}"
    ".lk-compare .lk-head .s1{font-size:18px}"
)
"""Style rules of the main panel."""

_ON_THE_WALL = ".lk-panel.lk-projector"
PROJECTOR = (
    # Who sits in the last row reads the state, not the code.
    f".jp-Cell:has({_ON_THE_WALL})>.jp-Cell-inputWrapper{{display:none}}"
    f"{_ON_THE_WALL} .lk-head .s1{{font-size:38px}}{_ON_THE_WALL} .lk-head .s2{{font-size:24px}}"
    f"{_ON_THE_WALL} .lk-head .k1{{font-size:32px}}{_ON_THE_WALL} .lk-head .k2{{font-size:22px}}"
    f"{_ON_THE_WALL} .lk-head svg{{width:74px;height:56px}}"
    f"{_ON_THE_WALL} .lk-task,{_ON_THE_WALL} .lk-about .widget-html-content{{font-size:20px}}"
    f"{_ON_THE_WALL} .lk-fn{{font-size:19px}}{_ON_THE_WALL} .lk-fn .n{{font-size:24px}}"
    f"{_ON_THE_WALL} .widget-label,{_ON_THE_WALL} select,{_ON_THE_WALL} input"
    "{font-size:20px!important}"
    f"{_ON_THE_WALL} select{{height:auto!important;line-height:1.4!important}}"
    f"{_ON_THE_WALL} .lk-bar .jupyter-button{{font-size:20px;height:40px;line-height:38px}}"
    f"{_ON_THE_WALL} .lk-check .widget-label-basic,"
    f"{_ON_THE_WALL} .lk-fault .widget-label-basic{{font-size:18px!important}}"
    f"{_ON_THE_WALL} .lk-rec{{font-size:18px}}{_ON_THE_WALL} .lk-rec th:nth-child(1)"
    "{width:110px}"
    f"{_ON_THE_WALL} .lk-acts{{flex-direction:column}}"
    f"{_ON_THE_WALL} .lk-columns>.lk-controls{{flex:0 0 36%}}"
    f"{_ON_THE_WALL} .lk-acts select{{min-height:0;flex:0 0 auto!important}}"
    # A projector with few pixels shows each of them large already.
    f"@container (max-width:1500px){{{_ON_THE_WALL} .lk-head .s1{{font-size:30px}}"
    f"{_ON_THE_WALL} .lk-head .s2{{font-size:18px}}{_ON_THE_WALL} .lk-head .k2{{font-size:17px}}"
    f"{_ON_THE_WALL} .lk-head .k1{{font-size:26px}}{_ON_THE_WALL} .lk-fn{{font-size:15px}}"
    f"{_ON_THE_WALL} .lk-fn .n{{font-size:18px}}{_ON_THE_WALL} .widget-label,"
    f"{_ON_THE_WALL} select{{font-size:17px!important}}"
    f"{_ON_THE_WALL} .lk-about .widget-html-content{{font-size:16px}}"
    f"{_ON_THE_WALL} .lk-bar .jupyter-button{{font-size:16px;height:32px;line-height:30px}}}}"
    f"{_ON_THE_WALL} .lk-switches .lk-faults{{max-height:300px;display:grid!important;"
    "grid-template-columns:repeat(auto-fill,minmax(340px,1fr));gap:0 14px;align-items:start}"
    # What holds a notebook would otherwise hold the panel inside it.
    "body:has(.lk-whole) .lm-Widget:has(.lk-whole){contain:none!important;z-index:auto!important}"
    f"{_ON_THE_WALL}.lk-whole{{position:fixed!important;inset:0;z-index:99999;width:auto;"
    "overflow-y:auto!important;border-radius:0;max-height:none}"
    f"{_ON_THE_WALL}.lk-whole>*{{flex:0 0 auto!important}}"
)
"""Style rules of the main panel for a wall, on top of its others."""
