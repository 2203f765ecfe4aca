"""The dashboard: what people see, and what they do about it."""

from collector.tongue.rewriting import install as _translate_texts

_translate_texts()
