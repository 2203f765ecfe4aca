"""One file a screen; each reads from top to bottom and is run by Streamlit."""
