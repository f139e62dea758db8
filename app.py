"""The corromap app: `streamlit run app.py` or `python app.py`."""

from streamlit import App

from corromap.ui import ROUTES, SCRIPT, main

app = App(SCRIPT, routes=ROUTES)

if __name__ == "__main__":
    main(app)
