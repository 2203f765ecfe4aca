"""Languages of screens and messages: texts are written in English, and told in the language of whoever reads them.

Modules of texts (see `rewriting.is_words`) are written as if there were one language. When they are imported, their
constants and functions are made to ask for the reader's language each time: see rewriting.py.
"""

from collector.tongue.current import Language, language, set_finder, speaking
from collector.tongue.saying import listed_number, number, plural, said

__all__ = ["Language", "language", "listed_number", "number", "plural", "said", "set_finder", "speaking"]
