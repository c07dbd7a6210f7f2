"""Long work in line: the desk asks for it, a process of its own does it, the page shows how far it is."""
