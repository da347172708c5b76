from stager.optimise.catalogue import *
from stager.optimise.catalogue import Parts
