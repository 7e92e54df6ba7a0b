"""A list of recordings through Ray: python with_ray.py LIST INTO [--parts N] [--workers N] [--cluster ADDRESS]"""
import os
import sys

os.environ.setdefault("RAY_USAGE_STATS_ENABLED", "0")  # nothing is sent anywhere

import ray  # noqa: E402

from parts import asked, read_part, tell  # noqa: E402

if __name__ == "__main__":
    args = asked()
    local = {} if args.cluster else {"num_cpus": args.workers, "include_dashboard": False, "_node_ip_address": "127.0.0.1"}
    ray.init(args.cluster, log_to_driver=True, **local)
    # A lost worker's part is asked for again; what it had finished is kept.
    remote = ray.remote(num_cpus=1, max_retries=3)(read_part)
    codes = ray.get([remote.remote(part, args.parts, args.recordings, args.into) for part in range(1, args.parts + 1)])
    ray.shutdown()
    sys.exit(tell(codes))
