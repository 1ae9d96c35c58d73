# The front door: `make help`. README, CI and DEVELOPERS.md call these targets and nothing else.

SHELL := /bin/sh
.DELETE_ON_ERROR:
.DEFAULT_GOAL := help
# Browsers first: that brings Node.js where it is missing.
.NOTPARALLEL:

# The Python that makes the environments: 3.11 or later.
PYTHON ?= python3
# How many test processes; `make test JOBS=0` runs all in one, for a debugger.
JOBS ?= auto
# More arguments for pytest: `make test TESTS='tests/rules -k loop'`.
TESTS ?=

SITE_ENV := .venv
TEST_ENV := .venv-test
WHEEL_ENV := .venv-wheel
LOCK_ENV := .venv-lock
UV_VERSION := 0.13.9

ifeq ($(OS),Windows_NT)
BIN := Scripts
else
BIN := bin
endif

# No environment that happens to be activated takes part.
unexport VIRTUAL_ENV PYTHONHOME PYTHONPATH
# Without kept bytecode every one of the hundreds of commands that the tests start compiles all modules anew.
unexport PYTHONDONTWRITEBYTECODE
export PIP_DISABLE_PIP_VERSION_CHECK := 1
PIP_QUIET := --quiet --quiet

# $(call new-environment,FOLDER,LOCK): an environment with exactly what a lock says. Where Python
# comes without ensurepip (Debian without python3-venv), the system's own pip fills it.
define new-environment
@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { \
	echo "Python 3.11 or later is needed; name one: make PYTHON=python3.12 $(MAKECMDGOALS)" >&2; exit 1; }
@echo "Making $(1) from $(2)"
@rm -rf $(1)
@if $(PYTHON) -c 'import ensurepip' 2>/dev/null; then \
	$(PYTHON) -m venv $(1); \
else \
	$(PYTHON) -m venv --without-pip $(1) && \
	$(PYTHON) -m pip --python $(1)/$(BIN)/python install $(PIP_QUIET) pip; \
fi
@$(1)/$(BIN)/python -m pip install $(PIP_QUIET) --require-hashes -r $(2)
endef

.PHONY: help
help: ## Show this list
	@awk -F ':.*## ' '/^[a-z-]+:.*## / { printf "  make %-12s %s\n", $$1, $$2 }' $(MAKEFILE_LIST)

# --- the site -------------------------------------------------------------------------------

.PHONY: site
site: $(SITE_ENV)/.project ## Make the environment, build the demo site and say how to open it
	$(SITE_ENV)/$(BIN)/kb build

.PHONY: preview
preview: $(SITE_ENV)/.project ## Show the site on this machine and build it anew on each change
	$(SITE_ENV)/$(BIN)/kb preview

$(SITE_ENV)/.lock: requirements.lock
	$(call new-environment,$(SITE_ENV),$<)
	@touch $@

# --- the tests ------------------------------------------------------------------------------

.PHONY: test
test: $(TEST_ENV)/.project browsers npm ## Install what the tests need, browsers included, and run them
	$(TEST_ENV)/$(BIN)/python -m pytest -n $(JOBS) --dist worksteal --fail-on-skip $(TESTS)

.PHONY: lint
lint: $(TEST_ENV)/.project npm ## Check style and types: ruff, mypy, and TypeScript over the JavaScript
	$(TEST_ENV)/$(BIN)/ruff check
	$(TEST_ENV)/$(BIN)/ruff format --check
	$(TEST_ENV)/$(BIN)/mypy
	node_modules/.bin/tsc --project tsconfig.json

.PHONY: format
format: $(TEST_ENV)/.project ## Lay out the Python code and mend what ruff can mend
	$(TEST_ENV)/$(BIN)/ruff check --fix
	$(TEST_ENV)/$(BIN)/ruff format

.PHONY: accept-gold
accept-gold: $(TEST_ENV)/.project browsers npm ## Take the present outputs as the right ones: read the difference first
	$(TEST_ENV)/$(BIN)/python -m pytest -n $(JOBS) -m gold --accept-gold
	git diff --stat -- tests/gold

.PHONY: wheel-test
wheel-test: $(TEST_ENV)/.project $(WHEEL_ENV)/.lock ## Build the wheel, install it by itself and try it
	@rm -rf dist
	@$(TEST_ENV)/$(BIN)/python -m hatchling build --target wheel >/dev/null
	@$(WHEEL_ENV)/$(BIN)/python -m pip install $(PIP_QUIET) --no-deps --no-index --force-reinstall dist/*.whl
	KB=$(CURDIR)/$(WHEEL_ENV)/$(BIN)/kb WHEEL=$$(echo dist/*.whl) \
		$(TEST_ENV)/$(BIN)/python -m pytest -m smoke --fail-on-skip tests/smoke

.PHONY: bench
bench: $(TEST_ENV)/.project browsers npm ## Measure times and sizes as ratios; gates nothing
	$(TEST_ENV)/$(BIN)/python bench/run.py
	$(TEST_ENV)/$(BIN)/python bench/order.py
	$(TEST_ENV)/$(BIN)/python bench/preview.py
	$(TEST_ENV)/$(BIN)/python bench/finder.py
	$(TEST_ENV)/$(BIN)/python bench/browser.py
	$(TEST_ENV)/$(BIN)/python bench/learn.py

$(TEST_ENV)/.lock: requirements-test.lock
	$(call new-environment,$(TEST_ENV),$<)
	@touch $@

$(WHEEL_ENV)/.lock: requirements.lock
	$(call new-environment,$(WHEEL_ENV),$<)
	@touch $@

# The project itself, as it stands in this folder; pyproject.toml holds its commands.
%/.project: %/.lock pyproject.toml
	@$*/$(BIN)/python -m pip install $(PIP_QUIET) --no-deps --no-build-isolation --no-index --editable .
	@touch $@

.PHONY: browsers
browsers: $(TEST_ENV)/.project
	@tests/browser/install.sh $(TEST_ENV)/$(BIN)/playwright

.PHONY: npm
npm: node_modules/.lock
node_modules/.lock: package-lock.json .npmrc
	@command -v npm >/dev/null || { \
		echo "npm is missing: install Node.js 18 or later with npm (Debian: apt-get install nodejs npm)." >&2; \
		echo "It brings axe-core, vnu-jar, typescript and the SARIF schema, which the tests need." >&2; exit 1; }
	npm ci --silent
	@touch $@

# --- upkeep ---------------------------------------------------------------------------------

.PHONY: lock
lock: ## Write the locks anew after a change of pyproject.toml or package.json
	@test -x $(LOCK_ENV)/$(BIN)/uv || { $(PYTHON) -m venv $(LOCK_ENV) && \
		$(LOCK_ENV)/$(BIN)/python -m pip install $(PIP_QUIET) uv==$(UV_VERSION); }
	$(LOCK) --group build --output-file requirements.lock
	$(LOCK) --group build --group test --group lint --constraints requirements.lock --output-file requirements-test.lock
	npm install --package-lock-only

# One set of versions for every system and Python, wheels and their hashes only: no address of an index.
LOCK = $(LOCK_ENV)/$(BIN)/uv pip compile pyproject.toml --quiet --universal --python-version 3.11 \
	--fork-strategy fewest --generate-hashes --no-emit-index-url --no-annotate \
	--custom-compile-command "make lock" $(LOCK_FLAGS)

.PHONY: clean
clean: ## Remove what was built; the environments stay
	rm -rf build dist site tests/gold-actual .mypy_cache .pytest_cache .ruff_cache .hypothesis

.PHONY: distclean
distclean: clean ## Remove the environments too
	rm -rf $(SITE_ENV) $(TEST_ENV) $(WHEEL_ENV) $(LOCK_ENV) node_modules
