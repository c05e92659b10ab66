# Everything starts here, in a fresh clone too: `make demo`, `make test`.
#
#   make demo    load the demo practice, issue its letters, serve the site on localhost:8000
#   make serve   serve the site of this machine
#   make test    lint, then every test on SQLite and on PostgreSQL
#   make quick   lint, then the tests on SQLite without faults and browsers
#   make lint    formatters, types, import contracts, migrations
#   make fuzz    every request of every role to every page, some 20,000
#   make bench   speed, as ratios to a floor measured in the same run; SIZE=200000 for more cases

SHELL := /bin/bash
.DEFAULT_GOAL := help

BIN := .venv/bin
PYTHON := $(BIN)/python
READY := .venv/.ready
UV := $(or $(shell command -v uv 2>/dev/null),.uv-bootstrap/bin/uv)
# A worker that has nothing left to do takes over tests of the other.
PYTEST := $(PYTHON) -m pytest -n 2 --dist worksteal
# Browsers have a run of their own: Playwright's event loop forbids a database to others.
CALM := --ignore=tests/browser
# PostgreSQL has no file of its own to look into.
SQLITE_ONLY := --ignore=tests/privacy/test_database_file.py

# The cases of the large practice in the bench, where not 50,000.
SIZE :=

# The packages come over the certificates that the system trusts.
export UV_NATIVE_TLS := 1
export UV_PROJECT_ENVIRONMENT := .venv
unexport VIRTUAL_ENV
# The tests start interpreters by the hundred, and each would compile every module anew.
unexport PYTHONDONTWRITEBYTECODE

.PHONY: help demo serve test quick lint lint-types lint-rest fuzz bench system system-for-tests clean

help:
	@sed -n 's/^#   //p' Makefile

demo: $(READY)
	@exec $(PYTHON) manage.py demo

serve: $(READY)
	@$(PYTHON) manage.py migrate --verbosity 0
	@exec $(PYTHON) manage.py serve

lint: $(READY)
	@$(MAKE) --no-print-directory --jobs=2 --output-sync=target lint-types lint-rest

lint-types:
	$(BIN)/mypy

lint-rest:
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	find templates -name '*.html' -print0 | xargs -0 -r $(BIN)/djade --check
	$(BIN)/lint-imports --no-logo
	$(PYTHON) manage.py makemigrations --check --dry-run

quick: system-for-tests lint
	$(PYTEST) $(CALM) --ignore=tests/faults

test: system-for-tests lint
	$(PYTEST) $(CALM)
	$(PYTEST) -p tests.pg_plugin $(CALM) $(SQLITE_ONLY)
	$(PYTEST) tests/browser

fuzz: $(READY)
	FUZZ=all $(PYTEST) tests/access/test_fuzz.py

bench: $(READY)
	@$(PYTHON) -m tests.bench $(if $(SIZE),--size $(SIZE))

clean:
	rm -rf .venv .uv-bootstrap .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache

system:
	@.ci/system

system-for-tests:
	@.ci/system --tests

# Order-only: the system is looked at every time, the environment is built when the lock changes.
$(READY): uv.lock pyproject.toml | system $(UV)
	$(UV) sync --frozen --quiet
	@touch $@

.uv-bootstrap/bin/uv: | system
	@echo "Fetching uv into .uv-bootstrap ..."
	@python3 -m venv .uv-bootstrap
	@.uv-bootstrap/bin/pip install --quiet uv
