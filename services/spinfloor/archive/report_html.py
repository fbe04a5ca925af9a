"""A report as one self-contained HTML page: no script, no outside request, prints on paper."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from spinfloor.archive.report_blocks import Block, Paragraph, Report, Table
from spinfloor.archive.report_svg import figure_svg

STYLE = """
:root { color-scheme: light }
body { font: 15px/1.45 "Liberation Sans", "DejaVu Sans", sans-serif; color: #14191c; background: #fff;
  max-width: 1060px; margin: 24px auto; padding: 0 24px }
h1 { font-size: 26px; margin: 0 0 2px } h2 { font-size: 19px; margin: 30px 0 8px; border-bottom: 1px solid #9aa7ae }
.subtitle { color: #46545b; margin: 0 0 14px }
.cautions { border: 2px solid #8a5a00; background: #fff6e0; padding: 8px 14px; margin: 14px 0 }
.cautions p, p.caution { color: #5c3c00 } p.warning { color: #8f1208; font-weight: 700 } p { margin: 6px 0 }
table { border-collapse: collapse; width: 100%; margin: 8px 0 14px; font-variant-numeric: tabular-nums }
caption { text-align: left; color: #46545b; padding-bottom: 4px }
th, td { text-align: left; vertical-align: top; padding: 3px 8px 3px 0; border-bottom: 1px solid #d4dbdf }
th { border-bottom: 1px solid #5c6a71 } .wide { font-size: 12.5px } .scroll { overflow-x: auto }
figure { margin: 10px 0 18px } figcaption { font-weight: 700 } svg text { font-size: 12px; fill: #14191c }
footer { margin-top: 30px; color: #46545b; border-top: 1px solid #9aa7ae; padding-top: 8px }
@media print { body { margin: 0; max-width: none } h2, figure, tr { break-inside: avoid } }
"""


def report_html(report: Report) -> str:
    """The page as text; every text from outside is escaped."""
    cautions = "".join(f"<p>{escape(text)}</p>" for text in report.cautions)
    sections = "".join(
        f"<section><h2>{escape(section.heading)}</h2>{''.join(_blocks(section.blocks))}</section>"
        for section in report.sections
    )
    return (
        f'<!doctype html><html lang="{escape(report.language)}"><head><meta charset="utf-8">'
        f'<meta name="viewport" content="width=device-width"><title>{escape(report.title)}</title>'
        f"<style>{STYLE}</style></head><body><main><h1>{escape(report.title)}</h1>"
        f'<p class="subtitle">{escape(report.subtitle)}</p><div class="cautions">{cautions}</div>{sections}'
        f"</main><footer>{escape(report.footer)}</footer></body></html>"
    )


def _blocks(blocks: Iterable[Block]) -> Iterable[str]:
    for block in blocks:
        if isinstance(block, Paragraph):
            yield f'<p class="{escape(block.tone)}">{escape(block.text)}</p>'
        elif isinstance(block, Table):
            yield _table(block)
        else:
            yield figure_svg(block)


def _table(table: Table) -> str:
    caption = f"<caption>{escape(table.caption)}</caption>" if table.caption else ""
    head = "".join(f'<th scope="col">{escape(cell)}</th>' for cell in table.head)
    body = "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in table.rows)
    name = escape(table.caption or ", ".join(table.head[:3]))
    return (
        f'<div class="scroll" tabindex="0" role="region" aria-label="{name}">'
        f'<table class="{"wide" if table.wide else ""}">'
        f"{caption}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
    )
