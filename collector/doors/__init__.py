"""Who may come in at the broker, and to what: certificates, accounts, rights, and the broker told of them."""
