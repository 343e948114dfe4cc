import envset,sys,time,pickle
import cProfile,pstats
from composer.mixing.contact import MixContact
name=sys.argv[1]
d=pickle.load(open(f"/tmp/contact_exp/{name}.pkl","rb")); head,mixer=d[0],d[1]
print(name,head.n_vertices,len(head.expressions))
t=time.thread_time(); MixContact(mixer); print("made cpu %.2f"%(time.thread_time()-t))
pr=cProfile.Profile(time.thread_time); pr.enable(); MixContact(mixer); pr.disable()
pstats.Stats(pr).sort_stats("cumtime").print_stats(45)
