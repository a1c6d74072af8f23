"""The few looks of our own beside Streamlit's: the answer, tables, trade terms, room on a phone."""

# Streamlit leaves 6 rem above the title, a fifth of a phone's screen; on a phone it also drops the
# undo of a change below its words. Its captions have a contrast of 4.1, the white words of a
# primary button in the dark one of 2.2; WCAG 2.2 asks for 4.5. Of the parts in a row it leaves one
# side of those beside the chosen one without a line, which on a phone may be the first of the next
# row. A list of screens that is folded away keeps its links in the tab key's order, where nobody
# sees them, and the page itself, which the arrow keys scroll, does not show that it has the focus
# (2.4.7). Forced colours take away every ground, by which alone Streamlit tells what is chosen; and
# it moves things whoever asked for less.
STYLE = """<style>
[data-testid='stMainBlockContainer'] {padding-top: 3.2rem}
@media (min-width: 768px) {
  [data-testid='stMainBlockContainer'] {padding-left: 3rem; padding-right: 3rem}
}
[data-testid='stMarkdown'] h2 {font-size: 1.25rem; line-height: 1.4; padding: 0 0 0.5rem}
[data-testid='stCaptionContainer'] {color: inherit; opacity: 0.8}
[data-testid='stSidebar'][data-collapsed='true'] {visibility: hidden}
[data-testid='stMain']:focus-visible {outline: 2px solid; outline-offset: -2px}
button[data-variant='segmented_control']:not([data-selected], [data-hovered]) {
  border-color: color-mix(in srgb, currentColor 25%, Canvas) !important}
[class*='st-key-change_'] {flex-wrap: nowrap}
[class*='st-key-change_'] > * {min-width: 0}
[class*='st-key-change_'] > :last-child {flex-shrink: 0}

@media (forced-colors: active) {
  [data-testid='stCheckbox'] label > div:not([data-testid]) {border: 1px solid;
    > div {forced-color-adjust: none; background: CanvasText}}
  [data-testid='stButtonGroup'] [data-selected],
  [data-testid='stPagination'] [aria-current],
  [data-testid='stRadioOption'][data-selected] > div > div:first-child,
  [data-testid='stCheckbox'] label[data-selected] > div:not([data-testid]) {
    forced-color-adjust: none; background: Highlight !important; border-color: Highlight !important;
    color: HighlightText !important}
  [data-testid='stAlertContainer'] {border: 1px solid}
}
@media (prefers-reduced-motion: reduce) {
  *, ::before, ::after {animation-duration: 1ms !important; transition-duration: 1ms !important;
    animation-iteration-count: 1 !important; scroll-behavior: auto !important}
}

.figures {container-type: inline-size}
.figures .rows {overflow: auto; border: 1px solid #8884; border-radius: 4px}
.long .rows {max-height: 34rem}
.figures table {border-collapse: collapse; width: 100%; margin: 0; font-size: 0.875rem}
.figures :is(th, td) {padding: 0.3rem 0.6rem; border: 0 solid #8884; border-bottom-width: 1px;
  text-align: right; vertical-align: top; font-weight: 400; font-variant-numeric: tabular-nums}
.figures :is(tr > :first-child, .t) {text-align: left}
.figures tbody tr:last-child > * {border-bottom-width: 0}
.figures thead th {position: sticky; top: 0; z-index: 1; vertical-align: bottom; font-size: 0.8rem;
  background: Canvas}
.figures tbody th {font-weight: 600}
.figures small {display: block; font-size: 0.75rem; white-space: nowrap}
.figures label {display: none}
.slide {display: none}
@media (max-width: 640px) {
  .slide {display: block; margin: 0; font-size: 0.875rem}
}
@container (max-width: 640px) {
  .figures label {display: inline-flex; align-items: center; gap: 0.5rem; min-height: 2rem;
    font-size: 0.875rem}
  .figures input {width: 1.2rem; height: 1.2rem}
  .lead-2:not(:has(:checked)) tr > :nth-child(n + 3),
  .lead-3:not(:has(:checked)) tr > :nth-child(n + 4),
  .lead-4:not(:has(:checked)) tr > :nth-child(n + 5) {display: none}
  .figures :is(th, td) {padding: 0.3rem 0.4rem}
  .figures:has(:checked) td.t {min-width: 6rem}
  .figures:has(:checked) td.t:last-child {min-width: 12rem}
}

[data-testid*='Button-primary'] {color: light-dark(#fff, #10202b) !important}
.save-shown {font-size: 0.8125rem; line-height: 1.8; opacity: 0.85}
.save-shown a {color: inherit; display: inline-block; padding: 0.15rem 0; min-height: 1.5rem}

.terms {display: flex; flex-wrap: wrap; align-items: baseline; column-gap: 0.9rem;
  font-size: 0.875rem}
.terms details[open] {flex-basis: 100%}
.terms summary {cursor: pointer; list-style: none; padding: 0.25rem 0;
  text-decoration: underline dotted; text-underline-offset: 0.2em}
.terms summary::-webkit-details-marker {display: none}
.terms p {margin: 0 0 0.4rem; padding: 0.5rem 0.75rem; border-left: 3px solid #8888}
</style>"""
