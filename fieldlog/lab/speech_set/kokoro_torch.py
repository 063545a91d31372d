"""The natural voice's graph run node by node in PyTorch, for a graphics card.

The operators are those of Kokoro-82M's int8 file (ONNX operator set 20 and Microsoft's own); what it
quantises as it goes is left in floats, so the sound differs a little from ONNX Runtime's. Whole
numbers that shape tensors stay in numpy: the card is waited for only where a length depends on what
was computed. Needs ``torch`` and ``onnx`` (the extra ``adapting``).
"""

from __future__ import annotations

import importlib
import operator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Args = list[Any]
Attributes = dict[str, Any]

torch: Any = importlib.import_module("torch")
onnx: Any = importlib.import_module("onnx")
F: Any = torch.nn.functional
numpy_helper: Any = importlib.import_module("onnx.numpy_helper")

_TYPES = {1: torch.float32, 7: torch.int64, 9: torch.bool, 10: torch.float16, 11: torch.float64}
_NP = {6: np.int32, 7: np.int64, 9: np.bool_, 3: np.int8, 2: np.uint8, 11: np.float64}
_ONE = {
    "sqrt": torch.sqrt,
    "sin": torch.sin,
    "cos": torch.cos,
    "exp": torch.exp,
    "tanh": torch.tanh,
    "sigmoid": torch.sigmoid,
    "round": torch.round,
}
_TWO: dict[str, Any] = {
    "add": operator.add,
    "sub": operator.sub,
    "mul": operator.mul,
    "equal": operator.eq,
    "greater": operator.gt,
    "less": operator.lt,
    "greaterorequal": operator.ge,
    "and": operator.and_,
}
_UNROUNDED = (2, 3, 6)
"""Whole-number types of quantised values, which stay floats here."""


class Graph:
    """One model on one device; ``run`` is for one thread."""

    def __init__(self, path: Path, device: str) -> None:
        """Load ``path``, its constants onto ``device``."""
        model = onnx.load(str(path))
        self.device = device
        self.one, self.zero = (torch.tensor(x, device=device) for x in (1.0, 0.0))
        self.consts: dict[str, Any] = {}
        for init in model.graph.initializer:
            a = numpy_helper.to_array(init)
            if a.dtype == np.int64 or a.dtype == np.bool_:
                self.consts[init.name] = a
            else:
                if a.dtype in (np.int8, np.uint8, np.int32):
                    a = a.astype(np.float32)
                self.consts[init.name] = torch.from_numpy(np.array(a)).to(device)
        self.nodes: list[Any] = []
        self.cache: dict[Any, Any] = {}
        uses: dict[str, int] = {}
        for k, n in enumerate(model.graph.node):
            for i in n.input:
                uses[i] = k
        dead: dict[int, list[str]] = {}
        for i, k in uses.items():
            if i and i not in self.consts:
                dead.setdefault(k, []).append(i)
        for k, n in enumerate(model.graph.node):
            at: Attributes = {a.name: onnx.helper.get_attribute_value(a) for a in n.attribute}
            self.nodes.append(
                (
                    self._operator(n.op_type.lower()),
                    n,
                    list(n.input),
                    list(n.output),
                    at,
                    dead.get(k, ()),
                )
            )
        self.outputs = [o.name for o in model.graph.output]

    def _operator(self, name: str) -> Any:
        if name in _ONE:
            return lambda n, a, at: _ONE[name](a[0])
        if name in _TWO:
            return lambda n, a, at: _TWO[name](*self.two(*a))
        return getattr(self, f"_op_{name}")

    def run(self, feeds: dict[str, NDArray[Any]]) -> NDArray[np.float32]:
        """The first output for inputs by name."""
        with torch.inference_mode():
            return np.asarray(self._run(feeds).cpu().numpy(), dtype=np.float32)

    def _run(self, feeds: dict[str, NDArray[Any]]) -> Any:
        env: dict[str, Any] = {}
        for k, v in feeds.items():
            env[k] = v if v.dtype == np.int64 else torch.from_numpy(v).to(self.device)
        consts = self.consts
        for f, n, ins, outs, at, dead in self.nodes:
            args = [None if i == "" else (consts[i] if i in consts else env[i]) for i in ins]
            got = f(n, args, at)
            if isinstance(got, tuple):
                for name, value in zip(outs, got, strict=False):
                    env[name] = value
            else:
                env[outs[0]] = np.asarray(got) if isinstance(got, np.generic) else got
            for name in dead:
                env.pop(name, None)
        return env[self.outputs[0]]

    def t(self, x: Any) -> Any:
        """``x`` as a tensor on the device."""
        return x if isinstance(x, torch.Tensor) else torch.as_tensor(np.array(x)).to(self.device)

    def two(self, a: Any, b: Any) -> Any:
        """Both as tensors, or both as arrays."""
        if isinstance(a, torch.Tensor) or isinstance(b, torch.Tensor):
            return self.t(a), self.t(b)
        return a, b

    def _op_div(self, n: Any, a: Args, at: Attributes) -> Any:
        x, y = self.two(*a)
        if isinstance(x, np.ndarray) and x.dtype.kind == "i":
            return x // y
        return x / y

    def _op_pow(self, n: Any, a: Args, at: Attributes) -> Any:
        x, y = a
        if isinstance(y, torch.Tensor) and y.numel() == 1:
            key = id(y)
            if key not in self.cache:
                self.cache[key] = float(y)
            p = self.cache[key]
            return x * x if p == 2.0 else x**p
        return self.t(x) ** self.t(y)

    def _op_atan(self, n: Any, a: Args, at: Attributes) -> Any:
        return torch.atan(torch.nan_to_num(a[0]))  # nothing over nothing, in silence

    def _op_floor(self, n: Any, a: Args, at: Attributes) -> Any:
        return np.floor(a[0]) if isinstance(a[0], np.ndarray) else torch.floor(a[0])

    def _op_clip(self, n: Any, a: Args, at: Attributes) -> Any:
        x = a[0]
        if a[1] is not None:
            x = torch.maximum(x, self.t(a[1]))
        if len(a) > 2 and a[2] is not None:
            x = torch.minimum(x, self.t(a[2]))
        return x

    def _op_leakyrelu(self, n: Any, a: Args, at: Attributes) -> Any:
        return F.leaky_relu(a[0], at.get("alpha", 0.01))

    def _op_softmax(self, n: Any, a: Args, at: Attributes) -> Any:
        return torch.softmax(a[0], at.get("axis", -1))

    def _op_where(self, n: Any, a: Args, at: Attributes) -> Any:
        if all(isinstance(x, np.ndarray) for x in a):
            return np.where(*a)
        return torch.where(*(self.t(x) for x in a))

    def _op_cast(self, n: Any, a: Args, at: Attributes) -> Any:
        x = a[0]
        if isinstance(x, torch.Tensor):
            to = at["to"]
            if to in _UNROUNDED:
                return x
            if to == 7:
                return x.to(torch.int64).cpu().numpy()
            return x.to(_TYPES[to])
        if at["to"] in (1, 10):
            return torch.as_tensor(x.astype(np.float32)).to(self.device)
        return x.astype(_NP[at["to"]])

    def _op_shape(self, n: Any, a: Args, at: Attributes) -> Any:
        return np.array(a[0].shape, dtype=np.int64)

    def _op_unsqueeze(self, n: Any, a: Args, at: Attributes) -> Any:
        x = a[0]
        for ax in sorted(int(v) for v in np.atleast_1d(a[1])):
            x = np.expand_dims(x, ax) if isinstance(x, np.ndarray) else x.unsqueeze(ax)
        return x

    def _op_squeeze(self, n: Any, a: Args, at: Attributes) -> Any:
        x = a[0]
        axes = sorted((int(v) % x.ndim for v in np.atleast_1d(a[1])), reverse=True)
        for ax in axes:
            x = np.squeeze(x, ax) if isinstance(x, np.ndarray) else x.squeeze(ax)
        return x

    def _op_reshape(self, n: Any, a: Args, at: Attributes) -> Any:
        x, shape = a[0], [int(v) for v in np.asarray(a[1])]
        shape = [x.shape[i] if v == 0 else v for i, v in enumerate(shape)]
        return x.reshape(shape)

    def _op_transpose(self, n: Any, a: Args, at: Attributes) -> Any:
        return (
            a[0].transpose(at["perm"]) if isinstance(a[0], np.ndarray) else a[0].permute(at["perm"])
        )

    def _op_concat(self, n: Any, a: Args, at: Attributes) -> Any:
        if all(isinstance(x, np.ndarray) for x in a):
            return np.concatenate(a, at["axis"])
        return torch.cat([self.t(x) for x in a], at["axis"])

    def _op_split(self, n: Any, a: Args, at: Attributes) -> Any:
        return tuple(torch.split(a[0], [int(v) for v in np.asarray(a[1])], at.get("axis", 0)))

    def _op_gather(self, n: Any, a: Args, at: Attributes) -> Any:
        x, i = a
        ax = at.get("axis", 0)
        if isinstance(x, np.ndarray):
            return np.take(x, i, ax)
        i = np.asarray(i) if isinstance(i, np.ndarray) else i
        if isinstance(i, np.ndarray) and i.ndim == 0:
            return x.select(ax, int(i))
        idx = self.t(i)
        out = x.index_select(ax, idx.reshape(-1) % x.shape[ax])
        return out.reshape(*x.shape[:ax], *idx.shape, *x.shape[ax + 1 :])

    def _op_slice(self, n: Any, a: Args, at: Attributes) -> Any:
        x = a[0]
        starts, ends = np.asarray(a[1]), np.asarray(a[2])
        axes = np.asarray(a[3]) if len(a) > 3 and a[3] is not None else np.arange(len(starts))
        steps = np.asarray(a[4]) if len(a) > 4 and a[4] is not None else np.ones(len(starts), int)
        cut = [slice(None)] * x.ndim
        for s, e, ax, st in zip(starts, ends, axes, steps, strict=True):
            assert st == 1
            cut[int(ax)] = slice(int(s), int(min(e, 2**31)))
        return x[tuple(cut)]

    def _op_expand(self, n: Any, a: Args, at: Attributes) -> Any:
        shape = [int(v) for v in np.asarray(a[1])]
        if isinstance(a[0], np.ndarray):
            return a[0] * np.ones(shape, a[0].dtype)
        return a[0] * torch.ones(shape, dtype=a[0].dtype, device=a[0].device)

    def _op_constantofshape(self, n: Any, a: Args, at: Attributes) -> Any:
        v = numpy_helper.to_array(at["value"]) if "value" in at else np.zeros(1, np.float32)
        shape = [int(x) for x in np.asarray(a[0])]
        if v.dtype.kind == "f":
            return torch.full(shape, float(v[0]), device=self.device)
        return np.full(shape, v[0])

    def _op_range(self, n: Any, a: Args, at: Attributes) -> Any:
        return np.arange(*(int(x) for x in a))

    def _op_cumsum(self, n: Any, a: Args, at: Attributes) -> Any:
        if isinstance(a[0], np.ndarray):
            return np.cumsum(a[0], int(a[1]))
        return torch.cumsum(a[0], int(np.asarray(a[1]) if isinstance(a[1], np.ndarray) else a[1]))

    def _op_reducemean(self, n: Any, a: Args, at: Attributes) -> Any:
        axes = [int(v) for v in np.atleast_1d(a[1])] if len(a) > 1 else at["axes"]
        return a[0].mean(axes, keepdim=bool(at.get("keepdims", 1)))

    def _op_reducesum(self, n: Any, a: Args, at: Attributes) -> Any:
        axes = [int(v) for v in np.atleast_1d(a[1])]
        return a[0].sum(axes, keepdim=bool(at.get("keepdims", 1)))

    def _op_dynamicquantizelinear(self, n: Any, a: Args, at: Attributes) -> Any:
        return a[0], self.one, self.zero

    def _weight(self, w: Any, zp: Any, conv: bool = False) -> Any:
        key = ("w", id(w))
        if key not in self.cache:
            z = (
                w
                if zp is None
                else (w - (zp.reshape(-1, *[1] * (w.ndim - 1)) if conv and zp.numel() > 1 else zp))
            )
            self.cache[key] = (z, w)
        return self.cache[key][0]

    def _op_matmulinteger(self, n: Any, a: Args, at: Attributes) -> Any:
        w = self._weight(a[1], a[3] if len(a) > 3 else None) if n.input[1] in self.consts else a[1]
        return torch.matmul(a[0], w)

    def _conv(self, x: Any, w: Any, b: Any, at: Attributes) -> Any:
        pads = at.get("pads", [0, 0])
        half = len(pads) // 2
        lo, hi = pads[:half], pads[half:]
        if lo != hi:
            p = []
            for low, high in zip(reversed(lo), reversed(hi), strict=True):
                p += [low, high]
            x = F.pad(x, p)
            lo = [0] * half
        return F.conv1d(
            x,
            w,
            b,
            stride=at.get("strides", [1]),
            padding=lo,
            dilation=at.get("dilations", [1]),
            groups=at.get("group", 1),
        )

    def _op_convinteger(self, n: Any, a: Args, at: Attributes) -> Any:
        w = (
            self._weight(a[1], a[3] if len(a) > 3 else None, True)
            if n.input[1] in self.consts
            else a[1]
        )
        return self._conv(a[0], w, None, at)

    def _op_conv(self, n: Any, a: Args, at: Attributes) -> Any:
        return self._conv(a[0], a[1], a[2] if len(a) > 2 else None, at)

    def _op_convtranspose(self, n: Any, a: Args, at: Attributes) -> Any:
        return F.conv_transpose1d(
            a[0],
            a[1],
            a[2] if len(a) > 2 else None,
            stride=at["strides"],
            padding=at["pads"][:1],
            output_padding=at.get("output_padding", [0]),
            groups=at["group"],
        )

    def _op_matmul(self, n: Any, a: Args, at: Attributes) -> Any:
        return torch.matmul(self.t(a[0]), self.t(a[1]))

    def _op_fusedmatmul(self, n: Any, a: Args, at: Attributes) -> Any:
        x, y = self.t(a[0]), self.t(a[1])
        if at.get("transA"):
            x = x.transpose(-1, -2)
        if at.get("transB"):
            y = y.transpose(-1, -2)
        return at.get("alpha", 1.0) * torch.matmul(x, y)

    def _op_dequantizelinear(self, n: Any, a: Args, at: Attributes) -> Any:
        x, scale, zp = a[0], a[1], a[2]
        return (x - zp) * scale

    def _op_layernormalization(self, n: Any, a: Args, at: Attributes) -> Any:
        return F.layer_norm(a[0], a[0].shape[-1:], a[1], a[2], at.get("epsilon", 1e-5))

    def _op_skiplayernormalization(self, n: Any, a: Args, at: Attributes) -> Any:
        x = a[0] + a[1]
        if len(a) > 4 and a[4] is not None:
            x = x + a[4]
        return F.layer_norm(x, x.shape[-1:], a[2], a[3], at.get("epsilon", 1e-12))

    def _op_fastgelu(self, n: Any, a: Args, at: Attributes) -> Any:
        x = a[0] if len(a) < 2 or a[1] is None else a[0] + a[1]
        return F.gelu(x, approximate="tanh")

    def _op_resize(self, n: Any, a: Args, at: Attributes) -> Any:
        x, scales = a[0], a[2]
        scale = float(self._scale(scales))
        if at["mode"] == b"nearest":
            k = round(scale)
            assert abs(k - scale) < 1e-6
            return x.repeat_interleave(k, -1)
        size = int(np.floor(x.shape[-1] * scale + 1e-4))
        return F.interpolate(x, size=size, mode="linear", align_corners=False)

    def _scale(self, s: Any) -> float:
        key = ("s", id(s))
        if key not in self.cache:
            self.cache[key] = float(s[-1])
        return float(self.cache[key])

    def _op_pad(self, n: Any, a: Args, at: Attributes) -> Any:
        pads, x = [int(v) for v in np.asarray(a[1])], a[0]
        last = [pads[len(pads) // 2 - 1], pads[-1]]
        assert sum(pads) == sum(last)
        flat = F.pad(x.reshape(1, -1, x.shape[-1]), last, mode=at["mode"].decode())
        return flat.reshape(*x.shape[:-1], -1)

    def _op_stft(self, n: Any, a: Args, at: Attributes) -> Any:
        x, step, window, length = a
        step = int(np.asarray(step))
        length = int(np.asarray(length))
        y = x if x.ndim == 2 else x[..., 0]
        z = torch.stft(
            y,
            length,
            step,
            length,
            self.t(window),
            center=False,
            onesided=True,
            return_complex=True,
        )
        return torch.view_as_real(z.transpose(1, 2).contiguous())

    def _op_nonzero(self, n: Any, a: Args, at: Attributes) -> Any:
        x = a[0]
        if isinstance(x, torch.Tensor):
            x = x.cpu().numpy()
        return np.stack(np.nonzero(x)).astype(np.int64)

    def _op_scatternd(self, n: Any, a: Args, at: Attributes) -> Any:
        x = a[0].clone()
        idx = self.t(a[1])
        upd = self.t(a[2])
        x[tuple(idx[..., k] for k in range(idx.shape[-1]))] = upd
        return x

    def _op_dynamicquantizelstm(self, n: Any, a: Args, at: Attributes) -> Any:
        key = ("lstm", n.output[0])
        if key not in self.cache:
            x, inner, again, bias = a[0], a[1], a[2], a[3]
            ws, wz, rs, rz = a[8], a[9], a[10], a[11]
            d, h = inner.shape[0], at["hidden_size"]

            def deq(w: Any, s: Any, z: Any) -> Any:
                s = s.reshape(d, 1, -1) if s.numel() > 1 else s
                z = z.reshape(d, 1, -1) if z.numel() > 1 else z
                return (w - z) * s

            inner, again = deq(inner, ws, wz), deq(again, rs, rz)
            # quantised weights are stored [directions, input, 4 hidden]
            if inner.shape[-1] == 4 * h and inner.shape[1] == x.shape[-1]:
                inner = inner.transpose(1, 2)
            if again.shape[-1] == 4 * h:
                again = again.transpose(1, 2)

            def perm(w: Any) -> Any:
                """Gates as PyTorch has them: input, forget, cell, output."""
                return torch.cat([w.reshape(4, h, *w.shape[1:])[o] for o in (0, 2, 3, 1)])

            m = torch.nn.LSTM(x.shape[-1], h, bidirectional=d == 2).to(self.device).eval()
            for k in range(d):
                suffix = "_l0" + ("_reverse" if k else "")
                getattr(m, "weight_ih" + suffix).data = perm(inner[k]).contiguous()
                getattr(m, "weight_hh" + suffix).data = perm(again[k]).contiguous()
                getattr(m, "bias_ih" + suffix).data = perm(bias[k][: 4 * h]).contiguous()
                getattr(m, "bias_hh" + suffix).data = perm(bias[k][4 * h :]).contiguous()
            m.flatten_parameters()
            self.cache[key] = m
        m = self.cache[key]
        y, (hn, cn) = m(a[0])
        length, count, _ = y.shape
        d = 2 if m.bidirectional else 1
        return y.reshape(length, count, d, -1).transpose(1, 2), hn, cn
