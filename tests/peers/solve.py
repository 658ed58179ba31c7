"""One solver on one instance in a process of its own, which reads the instance from standard input and writes the result.

Apart from each other, since the solver's own copy of protobuf and the client's do not go together in one process.
"""

import importlib
import pickle
import sys
import time


def main():
    instance, seconds = pickle.load(sys.stdin.buffer)
    module = importlib.import_module(sys.argv[1])
    begin = time.monotonic()
    result = module.solve(instance, seconds)
    pickle.dump((result, time.monotonic() - begin), sys.stdout.buffer)


if __name__ == "__main__":
    main()
