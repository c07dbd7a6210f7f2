"""The desk: the lab's pages. One page is one module, one template, one script where it needs one; no page holds a rule.

``pages.py`` says how a page is written, ``app.py`` lists the modules, ``serve.py`` starts and ends it.
"""
