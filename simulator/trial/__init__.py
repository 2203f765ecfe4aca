"""The trial of the warnings: stories of single units with known truth, and how warnings are judged on them."""
