# Two commands set everything up: `make demo` and `make test`.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
LOCK := .constraints.txt
PIP := $(BIN)/python -m pip install --quiet --disable-pip-version-check --no-compile -c $(LOCK)
PYTEST := $(BIN)/python -m pytest -n auto --dist worksteal
ARGS ?=

# Tests start the program often: what is compiled is kept, whatever the caller says of bytecode.
unexport PYTHONDONTWRITEBYTECODE
export PYTHONPYCACHEPREFIX := $(abspath $(VENV))/bytecode

.PHONY: help demo test test-long test-all check format format-check lint types imports bench quality fuzz lock clean

help:
	@echo "make demo      the live screen on the simulated host (ARGS='--scenario NAME')"
	@echo "make test      the tests, in two minutes; test-long runs what the gate adds, test-all every test"
	@echo "make check     format, lint, types, import arrows, tests"
	@echo "make format    rewrite the code's layout"
	@echo "make bench     benchmarks, as ratios in one run"
	@echo "make quality   recall, false alarms, delay, calibration: docs/quality.md, about 20 min; and on real sensors"
	@echo "make fuzz      10,000 strange files through every command, a million spoilt messages (ARGS='--seconds N')"
	@echo "make lock      renew $(LOCK) from what pyproject.toml allows"

$(BIN)/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "ohmvigil needs Python 3.11 or newer: set PYTHON=python3.x"; exit 1; }
	@$(PYTHON) -m venv $(VENV) || { echo "python3 cannot make an environment here: install its venv package"; exit 1; }

$(VENV)/.run: $(BIN)/python pyproject.toml $(LOCK)
	@echo "installing ohmvigil into $(VENV)"
	@$(PIP) -e .
	@touch $@

$(VENV)/.dev: $(VENV)/.run
	@echo "installing what the tests need"
	@$(PIP) -e '.[dev]'
	@touch $@

demo: $(VENV)/.run
	@$(BIN)/ohmvigil demo $(ARGS)

test: $(VENV)/.dev
	$(PYTEST) $(ARGS)

test-long: $(VENV)/.dev
	OHMVIGIL_TESTS=gate $(PYTEST) -m 'long and not slow' $(ARGS)

test-all: $(VENV)/.dev
	OHMVIGIL_TESTS=gate $(PYTEST) -m 'slow or not slow' $(ARGS)

check: format-check lint types imports test

format: $(VENV)/.dev
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

format-check: $(VENV)/.dev
	$(BIN)/ruff format --check .

lint: $(VENV)/.dev
	$(BIN)/ruff check .

types: $(VENV)/.dev
	$(BIN)/mypy

imports: $(VENV)/.dev
	$(BIN)/lint-imports

bench: $(VENV)/.dev
	@for bench in tests/bench/bench_*.py; do \
		$(BIN)/python -m $$(echo $$bench | sed 's|/|.|g; s|\.py$$||') || exit 1; \
	done

quality: $(VENV)/.dev
	@$(PIP) -e '.[quality]' || echo "no comparison beside outsiders: they cannot be installed here"
	$(BIN)/python -m tests.quality.full --write docs/quality.md $(ARGS)
	$(BIN)/python -m tests.quality.traces

fuzz: $(VENV)/.dev
	@$(PIP) -e '.[fuzz]' || echo "atheris cannot be installed here: a plain mutator takes its place"
	$(BIN)/python -m tests.fuzz.fuzz_files
	$(BIN)/python -m tests.fuzz.fuzz_client $(ARGS)

lock:
	rm -rf $(VENV)-lock
	$(PYTHON) -m venv $(VENV)-lock
	$(VENV)-lock/bin/python -m pip install --quiet --upgrade '.[dev]'
	$(VENV)-lock/bin/python -m pip freeze --exclude ohmvigil > $(LOCK)
	rm -rf $(VENV)-lock

clean:
	rm -rf $(VENV) build dist *.egg-info .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache
