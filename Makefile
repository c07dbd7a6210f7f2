# Everything a person does here. `make help` lists it.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
# Linear algebra in small matrices: a second thread of it only waits for the first, and takes a core from somebody.
export OPENBLAS_NUM_THREADS ?= 1
# What is imported is compiled once and kept, whatever this shell says: some hundred commands that tests start would
# each compile half the packages anew, three seconds of theirs every time.
unexport PYTHONDONTWRITEBYTECODE
DEMO ?= demo

# What waits for the network, what compiles and what looks through the code do so beside each other.
TOGETHER := $(MAKE) --no-print-directory -j 3
PIP := $(BIN)/python -m pip install --quiet --disable-pip-version-check

.PHONY: help setup setup-dev system parts demo test tested collected check format pictures bench sources

help:            ## this list
	@sed -n 's/^\([a-z-]*\): .*## /\1\t/p; s/^\([a-z-]*\):  *## /\1\t/p' Makefile

$(VENV)/packages.stamp: requirements.lock pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(PIP) --no-compile -r requirements.lock
	$(PIP) --no-deps -e .
	touch $@

$(VENV)/run.stamp: $(VENV)/packages.stamp
	$(BIN)/python -m takeup.measure.warm
	$(BIN)/python -m takeup.tasks.sound_loops
	touch $@

# Bytecode of every package, on all cores. Tests do without: what they import is compiled then, the rest never.
$(VENV)/compiled.stamp: $(VENV)/packages.stamp
	$(BIN)/python -m compileall -qq -j 0 $(VENV)/lib || true
	touch $@

$(VENV)/dev.stamp: $(VENV)/packages.stamp requirements-dev.lock
	$(PIP) --no-compile -r requirements-dev.lock
	touch $@

setup: $(VENV)/run.stamp $(VENV)/compiled.stamp    ## a locked, pinned .venv that runs takeup

setup-dev: $(VENV)/run.stamp $(VENV)/dev.stamp    ## the same with what tests need

parts:
	@$(PYTHON) tests/system_parts.py

system: setup-dev parts    ## system parts of some tests (a browser, Chinese language data), where this user may install them

demo: setup    ## an invented family's box through the whole job, in ./demo
	$(BIN)/takeup demo $(DEMO)

test:    ## every test
	@$(TOGETHER) system check collected
	@$(MAKE) --no-print-directory tested

tested:
	$(BIN)/python -m pytest -n 3 --dist loadfile --no-loadscope-reorder

# Compiles what tests import, and all loops, once: three processes that begin together would each do it, a minute of
# theirs.
collected: setup-dev
	@$(BIN)/python -m tests.make.loops_compiled
	@$(BIN)/python -m pytest --collect-only -q > /dev/null 2>&1 || true

check: $(VENV)/dev.stamp    ## formatter, linter, types, import contracts
	$(BIN)/ruff check src tests bench
	$(BIN)/ruff format --check src tests bench
	$(BIN)/mypy
	$(BIN)/lint-imports
	@$(BIN)/python -m tests.house.grades

format: setup-dev    ## put every file in the house's shape
	$(BIN)/ruff check --fix-only --quiet src tests bench
	$(BIN)/ruff format src tests bench

pictures: system    ## docs/desk: every page of the demo at three sizes and two languages, looked through by axe-core
	$(BIN)/python -m tests.web.pictures

bench: setup-dev    ## speed and memory as ratios to a reference in the same run
	$(BIN)/python -m bench

sources: setup    ## docs/sources.md from the tables
	$(BIN)/python -m takeup.tables.listing > docs/sources.md
