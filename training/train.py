"""Trains the note network on random scenes of recorded (and made-up) pianos.

  python3 training/train.py --pianos ../shared/pianos --rooms ../shared/rooms --voices ../shared/voices --into out --minutes 9
      [--leave-out upright-kawai] [--device cuda] [--steps N]

Writes into/NAME.safetensors (weights) and into/NAME.json (the card: pianos, frames, scores). Seeds are fixed; on a GPU the order of
sums is not, so two runs agree in their scores, not in every bit. A CPU works too, slowly. Several GPUs of one machine share the work with
  python3 -m torch.distributed.run --nproc-per-node 2 training/train.py ...
"""
import argparse, json, math, multiprocessing, os, sys, time
import numpy as np
import torch
from safetensors.torch import load_file, save_file
from front_end import FrontEnd, HOP, RATE
from network import NoteNetwork
from render import FRAMES, LOOK_BACK, Renderer
from scenes import SceneMaker, held
from sounds import Backdrop, Bank
import render

SIZES = ('first', 'opinion', 'context', 'joined', 'memory')


def draw_scenes(table, weights, seed, clips, queue):
    maker = SceneMaker(table, weights, seed)
    while True:
        queue.put(maker.batch(clips))


def measure(network, front, renderer, table, pianos, scenes, seed, chance):
    """Held voicings of `pianos`: F over keys by time after the strike (one frame), and exact sets from the mean logit of the hold."""
    at = {ms: int(round((0.5 + ms / 1000) * RATE / HOP)) - 1 for ms in (80, 100, 150, 300, 1000)}
    count = {ms: np.zeros(3) for ms in at}
    whole, exact, classes, n = np.zeros(3), 0, 0, 0
    keys_of = lambda logits: {i + 21 for i in np.nonzero(logits > 0)[0]}
    tally = lambda got, true: np.array([len(got & true), len(got - true), len(true - got)])
    for piano in pianos:
        for part in range(0, scenes, 50):
            strikes, sets = held(table, piano, min(50, scenes - part), seed + part)
            x, *_ = renderer(strikes, len(sets), chance)
            with torch.no_grad(), torch.autocast(x.device.type, torch.bfloat16):
                logits = network(front(x))[0].float().cpu().numpy()
            for i, true in enumerate(sets):
                for ms, frame in at.items():
                    count[ms] += tally(keys_of(logits[i, frame]), true)
                got = keys_of(logits[i, at[150]:at[1000] + 8].mean(0))
                whole += tally(got, true)
                exact += got == true
                classes += {k % 12 for k in got} == {k % 12 for k in true}
                n += 1
    f = lambda c: round(float(2 * c[0] / (2 * c[0] + c[1] + c[2])), 4)
    return {**{f'f_at_{ms}_ms': f(c) for ms, c in count.items()}, 'note_f': f(whole), 'exact': round(exact / n, 4), 'pcs': round(classes / n, 4)}


def agree(network, done, world):
    """Averages the gradients, and how much of the time is spent, over all processes."""
    if world == 1:
        return done
    parameters = list(network.parameters())
    flat = torch.cat([p.grad.flatten() for p in parameters] + [parameters[0].grad.new_tensor([done])])
    torch.distributed.all_reduce(flat)
    flat /= world
    at = 0
    for p in parameters:
        p.grad.copy_(flat[at: at + p.numel()].view_as(p))
        at += p.numel()
    return flat[-1].item()


def calibrate(logits, truth, weight):
    """Scale and shift of the logits that make them probabilities (Platt 1999), fitted where labels are certain."""
    keep = weight > 0.99
    x, y = logits[keep].double(), truth[keep].double()
    p = torch.tensor([1.0, 0.0], dtype=torch.double, device=x.device, requires_grad=True)
    optimizer = torch.optim.LBFGS([p], max_iter=50, line_search_fn='strong_wolfe')

    def closure():
        optimizer.zero_grad()
        loss = torch.nn.functional.binary_cross_entropy_with_logits(x * p[0] + p[1], y)
        loss.backward()
        return loss
    optimizer.step(closure)
    return [float(v) for v in p.detach()]


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument('--pianos', required=True, help='folder of folders of recorded notes, each with a map.tsv')
    a.add_argument('--rooms', required=True)
    a.add_argument('--voices', required=True)
    a.add_argument('--into', required=True)
    a.add_argument('--leave-out', default='', help='a piano that is only measured on')
    a.add_argument('--name', default='model')
    a.add_argument('--minutes', type=float, default=9)
    a.add_argument('--clips', type=int, default=48, help='scenes a step')
    a.add_argument('--made-up', type=int, default=16, help='pianos made from formulas')
    a.add_argument('--made-up-step', type=int, default=2)
    a.add_argument('--made-up-share', type=float, default=0.3)
    a.add_argument('--sizes', default='112,24,56,48,48', help=','.join(SIZES))
    a.add_argument('--rate', type=float, default=3e-3)
    a.add_argument('--device', default='cuda' if torch.cuda.is_available() else 'cpu')
    a.add_argument('--workers', type=int, default=4)
    a.add_argument('--seed', type=int, default=1)
    a.add_argument('--test-scenes', type=int, default=200)
    a.add_argument('--start-from', default='', help='weights to go on from')
    a.add_argument('--profile', action='store_true', help='print where twenty steps spend their time, and stop')
    o = a.parse_args()
    begun = time.time()
    world, rank = int(os.environ.get('WORLD_SIZE', 1)), int(os.environ.get('RANK', 0))
    if world > 1:
        torch.distributed.init_process_group('nccl' if o.device == 'cuda' else 'gloo')
        if o.device == 'cuda':
            o.device = f'cuda:{rank}'
            torch.cuda.set_device(rank)
    torch.manual_seed(o.seed)
    torch.set_float32_matmul_precision('high')
    os.makedirs(o.into, exist_ok=True)

    bank = Bank(o.device)
    folders = sorted(f for f in os.listdir(o.pianos) if os.path.isfile(os.path.join(o.pianos, f, 'map.tsv')))
    for f in folders:
        bank.add_folder(os.path.join(o.pianos, f))
    if o.made_up:
        bank.add_made_up(o.made_up, 100 + o.seed, step=o.made_up_step)
    table = bank.finish()
    left_out = [i for i, p in enumerate(bank.pianos) if p == o.leave_out]
    if o.leave_out and not left_out:
        sys.exit(f'no piano named {o.leave_out} in {o.pianos}')
    recorded = [i for i in range(len(folders)) if i not in left_out]
    weights = {i: (1 - o.made_up_share) / len(recorded) for i in recorded}
    weights.update({i: o.made_up_share / o.made_up for i in range(len(folders), len(bank.pianos))})
    backdrop = Backdrop(o.rooms, o.voices, o.device, render.LENGTH)
    renderer = Renderer(bank, backdrop, o.device, o.seed + 50 * rank)
    front = FrontEnd().to(o.device)
    network = NoteNetwork(**dict(zip(SIZES, map(int, o.sizes.split(','))))).to(o.device)
    if o.start_from:
        network.load_state_dict({k: v for k, v in load_file(o.start_from).items() if k != 'calibration'})
    average = torch.optim.swa_utils.AveragedModel(network, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(0.998))
    optimizer = torch.optim.AdamW(network.parameters(), lr=o.rate, weight_decay=1e-3)

    queue = multiprocessing.Queue(16)
    workers = [multiprocessing.Process(target=draw_scenes, args=(table, weights, 1000 * o.seed + 100 * rank + i, o.clips, queue), daemon=True) for i in range(o.workers)]
    for w in workers:
        w.start()
    print(f'{o.name}: {len(table)} recordings of {len(bank.pianos)} pianos, {sum(p.numel() for p in network.parameters())} weights, '
          f'ready after {time.time() - begun:.0f} s', flush=True)
    start, step, done, running, budget = time.time(), 0, 0.0, None, o.minutes * 60
    loss_of = torch.nn.functional.binary_cross_entropy_with_logits
    profiler = None
    while True:
        if o.profile and step == 60:
            profiler = torch.profiler.profile(activities=[torch.profiler.ProfilerActivity.CPU, torch.profiler.ProfilerActivity.CUDA])
            profiler.start()
        if profiler and step == 80:
            torch.cuda.synchronize()
            profiler.stop()
            print(profiler.key_averages().table(sort_by='cuda_time_total', row_limit=25, max_name_column_width=60)[:9000], flush=True)
            sys.exit()
        if done >= 1:
            break
        for group in optimizer.param_groups:
            group['lr'] = o.rate * min(1, (step + 1) / 200) * (0.5 + 0.5 * math.cos(math.pi * done)) + 1e-6
        x, sounding, struck, weight = renderer(queue.get(), o.clips)
        with torch.no_grad():
            inputs = front(x)
        with torch.autocast(x.device.type, torch.bfloat16):
            last, new, first, _ = network(inputs)
        loss = loss_of(last, sounding, weight) + 0.3 * loss_of(first, sounding, weight) + 0.5 * loss_of(new, struck)
        optimizer.zero_grad(set_to_none=True)
        loss.backward()
        done = agree(network, (time.time() - start) / budget, world)
        torch.nn.utils.clip_grad_norm_(network.parameters(), 1.0)
        optimizer.step()
        average.update_parameters(network)
        step += 1
        if step % 100 == 0:
            value = loss.item()
            if not math.isfinite(value):
                sys.exit(f'{o.name}: the loss is {value} at step {step}')
            running = value if running is None else 0.8 * running + 0.2 * value
            if step % 2000 == 0 and rank == 0:
                save_file({k: v.detach().float().cpu().contiguous() for k, v in average.module.state_dict().items()}, os.path.join(o.into, f'{o.name}.part.safetensors'))
        if (step % 500 == 0 or step == 100) and rank == 0:
            print(f'{o.name}: step {step}, {time.time() - start:.0f} s, loss {running:.5f}', flush=True)
    for w in workers:
        w.terminate()
    if rank:
        return

    network = average.module.eval()
    maker = SceneMaker(table, {i: 1.0 for i in left_out} or weights, 77)
    parts = []
    for _ in range(10):
        x, sounding, struck, weight = renderer(maker.batch(40), 40)
        with torch.no_grad(), torch.autocast(x.device.type, torch.bfloat16):
            last, new, _, _ = network(front(x))
        parts.append((last, sounding, weight, new, struck))
    last, sounding, weight, new, struck = (torch.cat(p) for p in zip(*parts))
    calibration = [calibrate(last, sounding, weight), calibrate(new, struck, torch.ones_like(weight))]
    frame = lambda p, y: round(float(2 * (p & y).sum() / (p.sum() + y.sum())), 4)
    measured = left_out or recorded
    card = {
        'code': os.environ.get('LIDPROP_COMMIT', ''), 'pianos': [bank.pianos[i] for i in recorded], 'left_out': o.leave_out or None,
        'made_up_pianos': o.made_up, 'weights': sum(p.numel() for p in network.parameters()), 'sizes': o.sizes, 'seed': o.seed,
        'steps': step, 'frames': step * o.clips * FRAMES * world, 'started_from': os.path.basename(o.start_from) or None, 'minutes': o.minutes, 'device': torch.cuda.get_device_name() if 'cuda' in o.device else 'cpu',
        'calibration': calibration, 'measured_on': [bank.pianos[i] for i in measured],
        'scenes_frame_f': frame(last > 0, sounding > 0.5), 'scenes_onset_frame_f': frame(new > 0, struck > 0.5),
        'held_dry': measure(network, front, renderer, table, measured, o.test_scenes, 5000, 0.0),
        'held_degraded': measure(network, front, renderer, table, measured, o.test_scenes, 6000, 1.0),
    }
    tensors = {k: v.detach().float().cpu().contiguous() for k, v in network.state_dict().items()}
    tensors['calibration'] = torch.tensor(calibration, dtype=torch.float32)
    save_file(tensors, os.path.join(o.into, f'{o.name}.safetensors'), {'sizes': o.sizes, 'pianos': ', '.join(card['pianos']), 'seed': str(o.seed)})
    with open(os.path.join(o.into, f'{o.name}.json'), 'w') as h:
        json.dump(card, h, indent=1)
    print(json.dumps(card), flush=True)


if __name__ == '__main__':
    main()
