"""A list of recordings through Dask: python with_dask.py LIST INTO [--parts N] [--workers N] [--cluster ADDRESS]"""
import sys

from dask.distributed import Client, LocalCluster

from parts import asked, read_part, tell

if __name__ == "__main__":
    args = asked()
    cluster = args.cluster or LocalCluster(
        host="127.0.0.1", n_workers=args.workers, threads_per_worker=1, dashboard_address=None)
    with Client(cluster) as client:
        client.upload_file(__file__.replace("with_dask", "parts"))
        # pure=False: a part that was read once is asked for again, and --skip-done decides what is missing.
        asked_for = client.map(read_part, range(1, args.parts + 1), parts=args.parts,
                               recordings=args.recordings, into=args.into, pure=False)
        codes = client.gather(asked_for)
    if not args.cluster:
        cluster.close()
    sys.exit(tell(codes))
