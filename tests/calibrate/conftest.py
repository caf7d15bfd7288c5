"""Without the extra ``fit`` there is no JAX: what needs it is passed over."""

from importlib.util import find_spec

collect_ignore = [] if find_spec("jax") and find_spec("optax") else ["layers.py", "choosing.py"]
