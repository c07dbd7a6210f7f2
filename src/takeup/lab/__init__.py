"""The lab's own database: people, visits, stations, sessions, what happens live, the logbook. Nothing inside a capture.

One port (``port.open_lab``); tables in ``schema``; one module per noun. A box's own facts stand in the box
(``takeup.box``), so forgetting a person touches no box.
"""
