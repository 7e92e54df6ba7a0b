"""Trains the note network on random scenes of recorded (and made-up) pianos.

  python3 training/train.py --pianos ../shared/pianos --rooms ../shared/rooms --voices ../shared/voices --into out --minutes 9
      [--leave-out upright-kawai,grand-steinway] [--device cuda]

Writes into/NAME.safetensors (weights) and into/NAME.json (the card: pianos, frames, scores). Seeds are fixed; on a GPU the order of
sums is not, so two runs agree in their scores, not in every bit. A CPU works too, slowly.

In two parts: first single frames, a few hundred of as many scenes a step, for all that a frame alone can tell; then whole scenes, for the
memory and everything else together.
"""
import argparse, json, math, multiprocessing, os, sys, time
import numpy as np
import torch
from safetensors.torch import load_file, save_file
from front_end import BINS, FrontEnd, HOP, KEYS, RATE, disturbed
from network import DOUBT, NoteNetwork
import scenes
if '--seconds' in sys.argv:
    scenes.SECONDS = float(sys.argv[sys.argv.index('--seconds') + 1])  # render.py takes its sizes from it
import render
from render import FRAMES, LOOK_BACK, Renderer
from scenes import SceneMaker, held
from sounds import Backdrop, Bank

SIZES = ('glance', 'first', 'opinion', 'context', 'joined', 'memory', 'last', 'back', 'pedal', 'told', 'among')
PICKED = 24  # frames taken of a scene in the first part
TOGETHER = 96  # seconds of scenes a step in the second part
FIRST_LOOK_COUNTS = 1.5  # how much what is told at once counts beside the second look
SOON = 16  # frames after a strike in which it counts more: live, the name waits for them
SOON_COUNTS = 1.5
STRIKES_COUNT = 2.0  # how much the loss of 'struck' counts beside that of 'sounding'
PEDAL_COUNTS = 0.02  # the same of the pedal, one value a frame where the others have 88
DECAY = 0.999  # of the running average of the weights


def draw_scenes(table, weights, seed, borrowed, playing, performances, clips, queue):
    maker = SceneMaker(table, weights, seed, borrowed, playing, performances)
    while True:
        queue.put(maker.batch(clips))


def frame_f(p, y):
    """F over all cells of frames and keys."""
    return round(float(2 * (p & y).sum() / (p.sum() + y.sum())), 4)


def soon_after(struck):
    """One where a key was struck in the last SOON frames; `struck`: [clips, frames, 88]."""
    return torch.nn.functional.max_pool1d(torch.nn.functional.pad(struck.amax(-1), (SOON, 0))[:, None, :-1], SOON, 1)[:, 0]


def pedal_f(logits, labels):
    """F over the frames of which the pedal is known; `labels`: [..., (down, known)]."""
    return frame_f((logits > 0) & (labels[..., 1] > 0), (labels[..., 0] > 0.5) & (labels[..., 1] > 0))


def grown(tensors, network):
    """Weights of a network of which some layers were smaller, for `network`: new units begin as drawn, and what listens to them with zero."""
    state, memory = network.state_dict(), tensors['wz.weight'].shape[0]
    for name, to in state.items():
        if name not in tensors:  # the second look begins as the first one
            alike = {'w5': 'w4', 'wh2': 'wh'}.get(name.split('.')[0])
            if not alike:
                continue
            of = tensors[alike + '.' + name.split('.')[1]]
            if name == 'w5.weight':
                rows, back = of.shape[0], state['wzb.weight'].shape[0]
                to.zero_()
                to[:rows, :memory], to[:rows, memory + back:] = of[:, :memory], of[:, memory:]
                continue
        else:
            of = tensors[name]
        if to.shape == of.shape:
            to.copy_(of)
        elif name == 'w4.weight':  # listens to the memory, then to what is known without it
            rows, wide = of.shape[0], state['wz.weight'].shape[0]
            to[:rows] = 0
            to[:rows, :memory], to[:rows, wide:] = of[:, :memory], of[:, memory:]
        else:
            if of.dim() == 2:
                to[:of.shape[0]] = 0
            to[tuple(slice(n) for n in of.shape)] = of
    network.load_state_dict(state)


def measure(network, front, renderer, table, pianos, scenes, seed, chance):
    """Held voicings of `pianos`: F over keys by time after the strike (one frame), and exact sets from the second look's mean logit of the hold."""
    at = {ms: int(round((0.5 + ms / 1000) * RATE / HOP)) - 1 for ms in (80, 100, 150, 300, 1000)}
    count = {ms: np.zeros(3) for ms in at}
    whole, exact, classes, n = np.zeros(3), 0, 0, 0
    keys_of = lambda logits: {i + 21 for i in np.nonzero(logits > -0.5)[0]}
    tally = lambda got, true: np.array([len(got & true), len(got - true), len(true - got)])
    for piano in pianos:
        for part in range(0, scenes, 50):
            strikes, sets = held(table, piano, min(50, scenes - part), seed + part)
            x, *_ = renderer(strikes, len(sets), chance)
            with torch.no_grad():
                heard = network(front(x))
            logits, later = heard[0].cpu().numpy(), heard[4].cpu().numpy()
            for i, true in enumerate(sets):
                for ms, frame in at.items():
                    count[ms] += tally(keys_of(logits[i, frame]), true)
                got = keys_of(later[i, at[150]:at[1000] + 8].mean(0))
                whole += tally(got, true)
                exact += got == true
                classes += {k % 12 for k in got} == {k % 12 for k in true}
                n += 1
    f = lambda c: round(float(2 * c[0] / (2 * c[0] + c[1] + c[2])), 4)
    return {**{f'f_at_{ms}_ms': f(c) for ms, c in count.items()}, 'note_f': f(whole), 'exact': round(exact / n, 4), 'pcs': round(classes / n, 4)}


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


class Trainer:
    """A step of optimisation on tensors of fixed shape; on a GPU recorded once and replayed, since its many small parts would wait for the host."""

    def __init__(self, network, average, rate, answer, front, shape, device, disturb, half):
        """`shape`: of the frames of a step."""
        self.front, self.disturb, self.half, self.kind = front, disturb, half, torch.device(device).type
        self.network, self.average, self.answer = network, list(average.parameters()), answer
        self.parameters = list(network.parameters())
        self.rate = torch.tensor(rate, device=device)
        cuda = 'cuda' in str(device)
        self.optimizer = torch.optim.AdamW(self.parameters, lr=self.rate, weight_decay=1e-3, fused=cuda, **({'capturable': True} if cuda else {}))
        # spectra and level; 'sounding', 'struck' and the weight of labels; the pedal and whether it is known
        self.given = [torch.zeros(*shape, n, device=device) for n in (BINS + 1, BINS + 1, BINS + 1, 2, KEYS, KEYS, KEYS, 2)]
        self.loss = torch.zeros((), device=device)
        self.graph = None
        if cuda:
            side = torch.cuda.Stream()
            side.wait_stream(torch.cuda.current_stream())
            kept = [p.detach().clone() for p in self.parameters]
            with torch.cuda.stream(side):
                for _ in range(3):
                    self.once()
            torch.cuda.current_stream().wait_stream(side)
            self.graph = torch.cuda.CUDAGraph()
            with torch.cuda.graph(self.graph, capture_error_mode='thread_local'):
                self.once()
            with torch.no_grad():  # as if nothing had been tried
                torch._foreach_copy_(self.parameters, kept)
                torch._foreach_copy_(self.average, kept)
                for state in self.optimizer.state.values():
                    for v in state.values():
                        v.zero_()

    def once(self):
        *spectra, sounding, struck, weight, pedal = self.given
        x = self.front.inputs(*spectra)
        if self.disturb:
            x = disturbed(x, self.disturb)
        loss_of = torch.nn.functional.binary_cross_entropy_with_logits
        with torch.autocast(self.kind, torch.bfloat16, enabled=self.half, cache_enabled=False):
            last, new, first, glance, *later = self.answer(x)
        loss = 0.3 * loss_of(first, sounding, weight) + 0.3 * loss_of(glance, sounding, weight)
        if not later:
            loss = loss + loss_of(last, sounding, weight) + STRIKES_COUNT * loss_of(new, struck)
        else:
            counts = weight * (1 + SOON_COUNTS * soon_after(struck))[..., None]
            loss = loss + FIRST_LOOK_COUNTS * (loss_of(last, sounding, counts) + STRIKES_COUNT * loss_of(new, struck))
            loss = loss + loss_of(later[0], sounding, weight) + STRIKES_COUNT * loss_of(later[1], struck) + PEDAL_COUNTS * loss_of(later[2], pedal[..., 0], pedal[..., 1])
        self.optimizer.zero_grad(set_to_none=True)
        loss.backward()
        self.optimizer.step()
        with torch.no_grad():
            torch._foreach_lerp_(self.average, self.parameters, 1 - DECAY)
            self.loss.copy_(loss.detach())

    def step(self, *tensors):
        for given, t in zip(self.given, tensors):
            given.copy_(t)
        self.graph.replay() if self.graph else self.once()


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument('--pianos', required=True, help='folder of folders of recorded notes, each with a map.tsv')
    a.add_argument('--rooms', required=True)
    a.add_argument('--voices', required=True)
    a.add_argument('--into', required=True)
    a.add_argument('--leave-out', default='', help='pianos that are only measured on, with commas between them')
    a.add_argument('--name', default='model')
    a.add_argument('--minutes', type=float, default=9)
    a.add_argument('--memory-share', type=float, default=0.5, help='share of the time for the second part')
    a.add_argument('--clips', type=int, default=256, help='scenes rendered at a time')
    a.add_argument('--seconds', type=float, default=scenes.SECONDS, help='of a scene')
    a.add_argument('--frames', type=int, default=512, help='frames a step in the first part')
    a.add_argument('--made-up', type=int, default=16, help='pianos made from formulas')
    a.add_argument('--made-up-step', type=int, default=2)
    a.add_argument('--made-up-share', type=float, default=0.3)
    a.add_argument('--borrowed', type=float, default=0.3, help='share of scenes of which each key comes from a piano of its own')
    a.add_argument('--playing', type=float, default=0.5, help='share of scenes in which hands play on, with the pedal')
    a.add_argument('--performances', default='', help='file of performances, half of the scenes of playing')
    a.add_argument('--half', type=int, default=1, help='1 multiplies in half precision on a GPU')
    a.add_argument('--disturb', type=float, default=0.03, help='how far inputs are raised and lowered at random: 0.03 is 1.5 dB')
    a.add_argument('--telephone', type=float, default=0.12, help='share of scenes over the band of a telephone')
    a.add_argument('--sizes', default='16,144,24,120,64,96,64,48,24,16,64', help=','.join(SIZES))
    a.add_argument('--rate', type=float, default=3e-3)
    a.add_argument('--device', default='cuda' if torch.cuda.is_available() else 'cpu')
    a.add_argument('--workers', type=int, default=12)
    a.add_argument('--seed', type=int, default=1)
    a.add_argument('--test-scenes', type=int, default=200)
    a.add_argument('--start-from', default='', help='weights to go on from')
    o = a.parse_args()
    begun = time.time()
    # several processes, one a GPU, as torchrun starts them: each draws its own scenes, and after every batch all go on from the mean of their weights
    rank, ranks = int(os.environ.get('RANK', 0)), int(os.environ.get('WORLD_SIZE', 1))
    if ranks > 1:
        if 'cuda' in o.device:
            o.device = f'cuda:{rank}'
            torch.cuda.set_device(rank)
        torch.distributed.init_process_group('nccl' if 'cuda' in o.device else 'gloo')
    torch.manual_seed(o.seed)
    torch.set_float32_matmul_precision('high')
    os.makedirs(o.into, exist_ok=True)

    bank = Bank(o.device)
    folders = sorted(f for f in os.listdir(o.pianos) if os.path.isfile(os.path.join(o.pianos, f, 'map.tsv')))
    for f in folders:
        bank.add_folder(os.path.join(o.pianos, f))
    if o.made_up:
        bank.add_made_up(o.made_up, 100 + o.seed + 1000 * rank, step=o.made_up_step)
    table = bank.finish()
    names = o.leave_out.split(',') if o.leave_out else []
    if unknown := [p for p in names if p not in folders]:
        sys.exit(f'no piano named {unknown[0]} in {o.pianos}')
    left_out = [i for i, p in enumerate(folders) if p in names]
    recorded = [i for i in range(len(folders)) if i not in left_out]
    if not recorded:
        sys.exit(f'every piano in {o.pianos} is left out: leave one in')
    made_up_share = o.made_up_share if o.made_up else 0.0
    weights = {i: (1 - made_up_share) / len(recorded) for i in recorded}
    weights.update({i: made_up_share / o.made_up for i in range(len(folders), len(bank.pianos))})
    backdrop = Backdrop(o.rooms, o.voices, o.device, render.LENGTH)
    renderer = Renderer(bank, backdrop, o.device, o.seed + 50 + 1000 * rank, o.telephone)
    front = FrontEnd().to(o.device)
    half = bool(o.half) and 'cuda' in o.device
    sizes = dict(zip(SIZES, map(int, o.sizes.split(','))))
    network = NoteNetwork(**sizes).to(o.device)
    if o.start_from:
        grown(load_file(o.start_from), network)

    queue = multiprocessing.Queue(16)
    workers = [multiprocessing.Process(target=draw_scenes, args=(table, weights, 1000 * o.seed + 100 * rank + i, o.borrowed, o.playing, o.performances, o.clips, queue), daemon=True) for i in range(o.workers)]
    for w in workers:
        w.start()
    print(f'{o.name}: {len(table)} recordings of {len(bank.pianos)} pianos, {sum(p.numel() for p in network.parameters())} weights, '
          f'ready after {time.time() - begun:.0f} s', flush=True)

    start, budget, step, drawn, frames, waited = time.time(), o.minutes * 60, 0, 0, 0, 0.0
    together_clips = max(1, round(TOGETHER / o.seconds))

    def rendered():
        nonlocal waited
        since = time.time()
        strikes, pedals = queue.get()
        waited += time.time() - since
        return renderer(strikes, o.clips, 1.0, pedals)

    def together(share):
        """The mean of the weights of all processes, and the time at which the slowest of them stands."""
        if ranks == 1:
            return share
        flat = torch.cat([p.data.flatten() for p in network.parameters()] + [torch.tensor([share], device=o.device)])
        last = flat[-1:].clone()
        torch.distributed.all_reduce(flat)
        torch.distributed.all_reduce(last, torch.distributed.ReduceOp.MAX)
        at = 0
        for p in network.parameters():
            p.data.copy_(flat[at:at + p.numel()].view_as(p) / ranks)
            at += p.numel()
        return last.item()

    def say(part, trainer):
        if rank:
            return
        value = trainer.loss.item()
        if not math.isfinite(value):
            sys.exit(f'{o.name}: the loss is {value} at step {step}')
        with torch.no_grad():
            last, new, first, glance, *later = trainer.answer(front.inputs(*trainer.given[:4]))
        print(f'{o.name}: {part}, step {step}, {time.time() - start:.0f} s ({waited:.0f} s waited for scenes), loss {value:.5f}, '
              f'F {frame_f(last > -0.5, trainer.given[4] > 0.5)}, struck F {frame_f(new > -0.5, trainer.given[5] > 0.5)}, '
              f'{f"second look {frame_f(later[0] > -0.5, trainer.given[4] > 0.5)}, {frame_f(later[1] > -0.5, trainer.given[5] > 0.5)}, pedal {pedal_f(later[2], trainer.given[7])}, " if later else ""}seen {(glance > DOUBT).float().mean():.3f}, asked {(first > DOUBT).float().mean():.3f}', flush=True)

    def cosine(share):
        return 0.5 + 0.5 * math.cos(math.pi * min(1.0, share))

    average = NoteNetwork(**sizes).to(o.device)
    average.load_state_dict(network.state_dict())

    # first part: single frames, with a plain head in place of the memory
    head = torch.nn.Linear(sizes['joined'], 2).to(o.device)
    network.head, average.head = head, torch.nn.Linear(sizes['joined'], 2).to(o.device)
    average.head.load_state_dict(head.state_dict())

    def frames_alone(x):
        glance, first, asked, h3 = network.frames_alone(x)
        return *network.answers(first, asked, network.head(h3)), first, glance

    memories = ('wz', 'wn', 'w4', 'wh', 'wzb', 'wnb', 'w5', 'wh2', 'wp', 'wzp', 'wnp', 'wq', 'wt', 'wa', 'w6', 'wh3')
    unused = [p for n, p in network.named_parameters() if n.split('.')[0] in memories]
    for p in unused:
        p.requires_grad_(False)
    first_budget = budget * (1 - o.memory_share)
    if first_budget > 0:
        trainer = Trainer(network, average, o.rate, frames_alone, front, (o.frames,), o.device, o.disturb, half)
        told = 0
        while together((time.time() - start) / first_budget) < 1:
            x, sounding, struck, weight, pedal = rendered()
            spectra = front.spectra(x)
            pick = torch.multinomial(1 + SOON_COUNTS * soon_after(struck), PICKED, generator=renderer.g)
            order = torch.randperm(o.clips * PICKED, device=x.device, generator=renderer.g)
            taken = lambda t: t.gather(1, pick[..., None].expand(-1, -1, t.shape[-1])).flatten(0, 1)[order]
            spectra = [taken(t) for t in spectra]
            labels = [taken(t) for t in (sounding, struck, weight, pedal)]
            for i in range(0, len(order) - o.frames + 1, o.frames):
                e = slice(i, i + o.frames)
                trainer.rate.fill_(o.rate * min(1, (step + 1) / 500) * (0.05 + 0.95 * cosine((time.time() - start) / first_budget)))
                trainer.step(*(t[e] for t in spectra + labels))
                step += 1
                frames += o.frames
            drawn += o.clips
            if time.time() - start > told:
                say('frames alone', trainer)
                told += budget / 24
        print(f'{o.name}: first part, {step} steps, {drawn} scenes', flush=True)
        with torch.no_grad():
            torch._foreach_copy_(list(network.parameters()), list(average.parameters()))
        del trainer
    del network.head, average.head
    for p in unused:
        p.requires_grad_(True)

    # second part: whole scenes
    if 'cuda' in o.device:  # the parts between the memories become a few kernels
        network.frames_alone = torch.compile(network.frames_alone, dynamic=False)
        network.second_round = torch.compile(network.second_round, dynamic=False)
    trainer = Trainer(network, average, o.rate, network, front, (together_clips, FRAMES), o.device, o.disturb, half)
    told, since, first_step = time.time() - start, time.time(), step
    while (share := together((time.time() - since) / max(1.0, budget - (since - start)))) < 1:
        x, sounding, struck, weight, pedal = rendered()
        spectra = front.spectra(x)
        for i in range(0, o.clips - together_clips + 1, together_clips):
            e = slice(i, i + together_clips)
            trainer.rate.fill_(0.5 * o.rate * min(1, (step - first_step + 1) / 300) * cosine(share) + 1e-6)
            trainer.step(*(t[e] for t in spectra), sounding[e], struck[e], weight[e], pedal[e])
            step += 1
            frames += together_clips * FRAMES
        drawn += o.clips
        if time.time() - start > told:
            say('scenes', trainer)
            told += budget / 24
    for w in workers:
        w.terminate()
    del trainer
    print(f'{o.name}: both parts, {step} steps, {drawn} scenes', flush=True)

    if ranks > 1:
        for p in average.parameters():
            torch.distributed.all_reduce(p.data)
            p.data /= ranks
        torch.distributed.barrier()
        torch.distributed.destroy_process_group()
        if rank:
            os._exit(0)  # what follows is for one
    network = average.eval()
    weights_path = os.path.join(o.into, f'{o.name}.safetensors')
    tensors = {k: v.detach().float().cpu().contiguous() for k, v in network.state_dict().items()}
    save_file(tensors | {'calibration': torch.tensor([[1.0, 0.0]] * 5)}, weights_path)  # in case that what follows is cut off

    def heard(playing, batches):
        """What the network says of scenes that it has not met, and the labels."""
        maker, parts = SceneMaker(table, {i: 1.0 for i in left_out} or weights, 77, 0.0, playing, o.performances), []
        for _ in range(batches):
            strikes, pedals = maker.batch(40)
            x, sounding, struck, weight, pedal = renderer(strikes, 40, 1.0, pedals)
            with torch.no_grad():
                last, new, _, _, later, later_new, down = network(front(x))
            parts.append((sounding, weight, struck, pedal, last, new, later, later_new, down))
        return [torch.cat(p) for p in zip(*parts)]

    def scores(of, batches, playing):
        sounding, weight, struck, pedal, last, new, later, later_new, down = heard(playing, batches)
        f = {'frame_f': frame_f(last > -0.5, sounding > 0.5), 'onset_frame_f': frame_f(new > -0.5, struck > 0.5),
             'second_frame_f': frame_f(later > -0.5, sounding > 0.5), 'second_onset_frame_f': frame_f(later_new > -0.5, struck > 0.5), 'pedal_f': pedal_f(down, pedal)}
        all_of = torch.ones_like(weight)
        known = [calibrate(last, sounding, weight), calibrate(new, struck, all_of), calibrate(later, sounding, weight), calibrate(later_new, struck, all_of),
                 calibrate(down, pedal[..., 0], pedal[..., 1]) if playing else [1.0, 0.0]]
        return {of + k: v for k, v in f.items()}, known

    playing_f, _ = scores('playing_', 5, 1.0) if o.playing else ({}, None)
    scenes_f, calibration = scores('scenes_', 10, o.playing)
    measured = left_out or recorded
    telephone = Renderer(bank, backdrop, o.device, 51, 1.0)
    card = {
        'code': os.environ.get('LIDPROP_COMMIT', ''), 'pianos': [bank.pianos[i] for i in recorded], 'left_out': o.leave_out or None,
        'made_up_pianos': o.made_up, 'weights': sum(p.numel() for p in network.parameters()), 'sizes': o.sizes, 'seed': o.seed,
        'steps': step, 'frames': frames, 'scenes': drawn, 'seconds': o.seconds, 'playing': o.playing, 'borrowed': o.borrowed, 'disturb': o.disturb, 'telephone': o.telephone, 'rate': o.rate, 'waited': round(waited), 'started_from': os.path.basename(o.start_from) or None, 'minutes': o.minutes,
        'device': torch.cuda.get_device_name() if 'cuda' in o.device else 'cpu',
        'calibration': calibration, 'measured_on': [bank.pianos[i] for i in measured],
        'processes': ranks, **scenes_f, **playing_f,
        'held_dry': measure(network, front, renderer, table, measured, o.test_scenes, 5000, 0.0),
        'held_degraded': measure(network, front, renderer, table, measured, o.test_scenes, 6000, 1.0),
        'held_over_a_telephone': measure(network, front, telephone, table, measured, o.test_scenes, 7000, 1.0),
    }
    tensors['calibration'] = torch.tensor(calibration, dtype=torch.float32)
    tensors = {k: v if k == 'calibration' else v.half() for k, v in tensors.items()}  # 16 bits are enough
    save_file(tensors, weights_path, {'sizes': o.sizes, 'pianos': ', '.join(card['pianos']), 'seed': str(o.seed)})
    with open(os.path.join(o.into, f'{o.name}.json'), 'w') as h:
        json.dump(card, h, indent=1)
    print(json.dumps(card), flush=True)


if __name__ == '__main__':
    main()
