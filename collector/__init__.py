"""The collector: readings in, the rules, the record, signals out."""

from collector.tongue.rewriting import install as _translate_texts

_translate_texts()
