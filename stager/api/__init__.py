"""The public face: a configuration that is loaded, and what can be asked of it."""

from stager.api.loaded import Loaded, build, load

__all__ = ["Loaded", "build", "load"]
