# Loopwright. `make run` starts the workbench; `make test` checks it. Both may be repeated and ask nothing.

PYTHON ?= python3
WORKERS ?= 2
ARGS ?=

VENV := .venv
BIN := $(VENV)/bin
# Both lists hold everything there is to install; left to resolve, pip refuses them as soon as a later version of what is asked for with an
# extra (`coverage[toml]`) appears.
PIP := $(BIN)/python -m pip install --quiet --no-compile --no-deps --require-hashes
DEV := $(VENV)/.dev
RUN := $(VENV)/.run
BENCHES = $(sort $(wildcard bench/*.py))

export PIP_DISABLE_PIP_VERSION_CHECK := 1
export PIP_NO_INPUT := 1
export PYTHONUNBUFFERED := 1
export DEBIAN_FRONTEND := noninteractive
unexport PYTHONPATH PYTHONHOME PYTHONDONTWRITEBYTECODE

# Tools want a home to keep caches in; lend them one where there is none to write to.
ifneq ($(shell test -n "$$HOME" && test -d "$$HOME" && test -w "$$HOME" && echo yes),yes)
export HOME := $(CURDIR)/.home
$(shell mkdir -p "$(CURDIR)/.home")
endif

# A virtual environment that was moved, or whose Python has gone, is made again.
ifneq ($(wildcard $(VENV)/made-at),)
ifneq ($(shell test "$$(cat $(VENV)/made-at)" = "$$(pwd -P)" && $(BIN)/python -c 'print("yes")' 2>/dev/null),yes)
$(shell rm -rf $(VENV))
endif
endif

.PHONY: pictures help run test deep cover lint bench lock clean
.DELETE_ON_ERROR:

help:
	@echo 'make run      start the workbench (ARGS="--port 8080" to pass options on)'
	@echo 'make test     set up, then every check: ruff, mypy, import-linter, pytest'
	@echo 'make deep     the tests with every property tried ten times as often, and 200 kills: for a night'
	@echo 'make cover    the tests with the lines and branches they reach'
	@echo 'make lint     the checks without the tests'
	@echo 'make bench    the measurements, one table a file'
	@echo 'make pictures take the pictures of the documentation again'
	@echo 'make lock     resolve the requirements again, with hashes'
	@echo 'make clean    remove what these commands made'

$(VENV)/made-at:
	@tools/make-venv $(PYTHON) $(VENV)

# A third of a plain install is never used: byte code of modules nobody imports (Python writes what is imported, at the first start),
# setuptools, and the test folders of numpy and scipy.
$(RUN): $(VENV)/made-at requirements.txt pyproject.toml
	@echo 'Installing what Loopwright needs to run (about a minute the first time)'
	@$(PIP) -r requirements.txt
	@$(BIN)/python -m pip install --quiet --no-deps --no-build-isolation --editable .
	@$(BIN)/python -m pip uninstall --quiet --quiet --yes setuptools
	@find $(VENV)/lib/python3*/site-packages/numpy $(VENV)/lib/python3*/site-packages/scipy -type d -name tests -prune -exec rm -rf {} +
	@touch $@

$(DEV): $(RUN) requirements-dev.txt
	@echo 'Installing what the checks need'
	@$(PIP) -r requirements-dev.txt
	@touch $@

run: $(RUN)
	@echo 'Starting Loopwright (Ctrl-C stops it)'
	@exec $(BIN)/loopwright serve $(ARGS)

# Each check runs to its end even when one before it failed, so that one run tells everything.
lint: $(DEV)
	@status=0; \
	echo 'ruff';          $(BIN)/ruff check --cache-dir .cache/ruff . || status=1; \
	echo 'mypy';          $(BIN)/mypy || status=1; \
	echo 'import-linter'; $(BIN)/lint-imports --no-logo --cache-dir .cache/import-linter || status=1; \
	exit $$status

# Each worker takes half of the tests as they stand, so that what a file or folder shares is made once; who is done first takes over.
PYTEST = $(BIN)/python -m pytest -n $(WORKERS) --dist worksteal

# The other checks run beside the tests, which would leave a core idle at their end; what they say stands below.
test: $(DEV)
	@tools/oracles
	@failed=''; mkdir -p .cache; \
	$(MAKE) --no-print-directory lint > .cache/lint.txt 2>&1 & lint=$$!; \
	echo 'pytest'; $(PYTEST) $(ARGS) || failed="$$failed pytest"; \
	wait $$lint || failed=" lint$$failed"; cat .cache/lint.txt; \
	test -z "$$failed" || { echo "Failed:$$failed"; exit 1; }

deep: $(DEV)
	@tools/oracles
	LOOPWRIGHT_TESTS=deep $(PYTEST) $(ARGS)

cover: $(DEV)
	@tools/oracles
	$(PYTEST) --cov --cov-report=term $(ARGS)

bench: $(DEV)
	@for table in $(BENCHES); do echo "$$table"; $(BIN)/python "$$table" || exit 1; done

# uv resolves; it is kept apart from the project's own environment. Only package names and hashes are written.
UV := .cache/uv/bin/uv
COMPILE = $(UV) pip compile --quiet --universal --fork-strategy fewest --python-version 3.11 \
	--generate-hashes --no-emit-index-url --no-emit-find-links --no-header --no-annotate pyproject.toml

$(UV):
	@$(PYTHON) -m venv .cache/uv
	@.cache/uv/bin/python -m pip install --quiet 'uv>=0.9,<1'

pictures: $(DEV)
	@$(BIN)/python tools/take-pictures

lock: $(UV)
	@echo 'Resolving requirements.txt and requirements-dev.txt'
	@$(COMPILE) --upgrade --group build --output-file requirements.txt
	@$(COMPILE) --upgrade --group dev --constraint requirements.txt --output-file requirements-dev.txt

clean:
	rm -rf $(VENV) .cache .hypothesis build dist
	find src tests bench -name __pycache__ -type d -prune -exec rm -rf {} +
