"""Time and peak memory of a peer's ways, printed one a line."""
import statistics
import time


def status_mb(name):
    with open("/proc/self/status") as status:
        for line in status:
            if line.startswith(name):
                return int(line.split()[1]) / 1024
    return float("nan")


def measure(ways, rounds=5):
    for name, way in ways.items():
        before = status_mb("VmRSS")
        try:
            with open("/proc/self/clear_refs", "w") as refs:
                refs.write("5")
        except OSError:
            before = float("nan")
        way()
        peak = status_mb("VmHWM") - before
        times = []
        for _ in range(rounds):
            start = time.perf_counter()
            way()
            times.append(1000 * (time.perf_counter() - start))
        print(f"{name}: median {statistics.median(times):.0f} ms, {peak:.0f} MB at most beyond the {before:.0f} MB before")
