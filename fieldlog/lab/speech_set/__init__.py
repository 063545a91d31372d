"""The inspection speech set: generated phrases, voices, rooms, workshop noises and negatives."""
