"""The workshop's dashboard: `streamlit run app.py`."""

from analysis.screens.frame import show

show()
