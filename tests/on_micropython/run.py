"""Runs plain test files in the interpreter: every test_* function of the modules named on the command line.

MICROPYPATH=tests/firmware:firmware:firmware/virtual:.frozen micropython tests/on_micropython/run.py test_cobs ...
"""

import sys

failed = 0
for name in sys.argv[1:]:
    module = __import__(name)
    tests = sorted([test for test in dir(module) if test.startswith("test_")])
    if not tests:
        print("FAIL", name, "has no tests")
        failed += 1
    for test in tests:
        try:
            getattr(module, test)()
            print("ok  ", name, test)
        except Exception as error:
            print("FAIL", name, test)
            sys.print_exception(error, sys.stdout)
            failed += 1
print("failed:", failed)
sys.exit(1 if failed else 0)
