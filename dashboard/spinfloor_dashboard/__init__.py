"""The Dash screens of spinfloor.

How a page is added
-------------------
Put one file in `pages/` that calls `dash.register_page(__name__, path="/debrief", name="Debrief", order=4)` and defines
`layout` (a component or a function of the URL's query keywords, e.g. `layout(sortie: str | None = None, **_)`).
Navigation shows the pages of `components.shell.NAVIGATION` by path; the page's file needs nothing else.

- Build with `components.common`: `page`, `panel`, `badge`, `empty`, `action_button`, `caution_line`, `utc_time`.
- Reach the service only through `components.service.client()` (the `spinfloor.client` bound to the mounted API), from
  `async def` callbacks, so that the event loop is never held.
- Colours are the custom properties at the top of `assets/00-theme.css`. Red (`--warning`) means warning and amber
  (`--caution`) caution; neither may be used for anything else, and each comes with words. Figures use
  `components.figures.TEMPLATE` (Plotly) so that they match; its colourway holds neither red nor amber.
- `assets/*.js` loads on every page: attach to elements only when they are there. The live link and the sound keep
  running when the engineer leaves Watch; the header shows the watched sortie, and the bar
  below it says when calls cannot be heard.
"""

from spinfloor_dashboard.app import mount

__all__ = ["mount"]
