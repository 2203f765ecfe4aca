"""People: accounts, passwords, sessions, wall links, and who may do what. No Streamlit here."""
